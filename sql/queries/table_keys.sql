-- One row per key of the log's tables: a primary key, or a foreign key and what it points at.
SELECT table_name, constraint_type AS kind, constraint_column_names AS columns, referenced_table,
    referenced_column_names AS referenced_columns
FROM duckdb_constraints()
WHERE database_name NOT IN ('system', 'temp') AND constraint_type IN ('PRIMARY KEY', 'FOREIGN KEY')
ORDER BY ALL
