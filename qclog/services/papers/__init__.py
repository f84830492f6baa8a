"""Papers: what stands on them, and their way to a file."""
