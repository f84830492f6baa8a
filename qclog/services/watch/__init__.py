"""Findings as people meet them: worked out, kept, followed, put into words."""
