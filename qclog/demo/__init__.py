"""The invented sample workshop, seeded."""
