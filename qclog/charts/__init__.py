"""Results to Altair charts."""
