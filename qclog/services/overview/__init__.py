"""What a person sees first: the bench at one look, before dispatch, the workshop, the month."""
