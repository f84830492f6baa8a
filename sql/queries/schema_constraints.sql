-- One row per column or constraint of the log's tables: what it is of, what kind, over which columns, its CHECK.
SELECT c.table_name, concat_ws(' ', 'column', c.data_type, if(c.is_nullable, NULL, 'NOT NULL')) AS kind,
    c.column_name AS columns, NULL AS expression
FROM duckdb_columns() AS c
JOIN duckdb_tables() AS t USING (database_name, schema_name, table_name)
WHERE c.database_name NOT IN ('system', 'temp') AND NOT t.temporary
UNION ALL
SELECT table_name, concat_ws(' ', constraint_type, referenced_table), array_to_string(constraint_column_names, ', '),
    expression
FROM duckdb_constraints()
WHERE database_name NOT IN ('system', 'temp') AND constraint_type <> 'NOT NULL'
ORDER BY ALL
