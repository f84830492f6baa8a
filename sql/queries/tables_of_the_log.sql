-- One row per table of the log and table that its foreign keys point at; empty where it has none.
SELECT t.table_name, c.referenced_table
FROM duckdb_tables() AS t
LEFT JOIN duckdb_constraints() AS c
    ON c.database_name = t.database_name AND c.table_name = t.table_name AND c.constraint_type = 'FOREIGN KEY'
WHERE t.database_name = current_database() AND NOT t.temporary
ORDER BY ALL
