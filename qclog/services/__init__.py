"""The use cases: where the log meets the statistics."""
