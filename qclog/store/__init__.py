"""The log: the only room that knows DuckDB."""
