-- One row per column of the log's tables, in their order.
SELECT c.table_name, c.column_name, c.data_type, c.is_nullable
FROM duckdb_columns() AS c
JOIN duckdb_tables() AS t USING (database_name, schema_name, table_name)
WHERE c.database_name NOT IN ('system', 'temp') AND NOT t.temporary AND c.table_name <> 'migration'
ORDER BY c.table_name, c.column_index
