-- One row per table of the log whose rows name the entry that brought them in, but for the digests themselves.
SELECT c.table_name
FROM duckdb_columns() AS c
JOIN duckdb_tables() AS t USING (database_name, schema_name, table_name)
WHERE c.database_name NOT IN ('system', 'temp') AND NOT t.temporary
  AND c.column_name = 'entry' AND c.table_name <> 'entry_digest'
ORDER BY c.table_name
