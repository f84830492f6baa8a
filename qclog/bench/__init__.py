"""The arithmetic of the bench."""
