-- One row per table of the log.
SELECT table_name
FROM duckdb_tables()
WHERE database_name NOT IN ('system', 'temp') AND NOT temporary
ORDER BY table_name
