"""Whether a file holds the tables of a log and nothing else: a macro, a view or a type could change what is shown."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import duckdb

from qclog import resources
from qclog.errors import LogDamagedError
from qclog.store import migrations

_FOREIGN = {  # what is not built in, by kind
    "view": "SELECT view_name, database_name FROM duckdb_views() WHERE NOT internal",
    "type": "SELECT type_name, database_name FROM duckdb_types() WHERE NOT internal",
    "sequence": "SELECT sequence_name, database_name FROM duckdb_sequences()",
    "schema": "SELECT schema_name, database_name FROM duckdb_schemas() WHERE NOT internal",
    "index": "SELECT index_name, database_name FROM duckdb_indexes()",
    "worked-out column or default": "SELECT table_name || '.' || column_name, database_name FROM duckdb_columns()"
    " WHERE column_default IS NOT NULL AND NOT internal",
    "trigger": "SELECT trigger_name, database_name FROM duckdb_triggers()",
}
_FUNCTIONS = """SELECT DISTINCT function_name, database_name FROM duckdb_functions()
WHERE NOT internal OR function_name = 'duckdb_triggers'"""
_COLUMNS = """SELECT c.table_name, c.column_name, c.data_type, c.is_nullable
FROM duckdb_columns() AS c
JOIN duckdb_tables() AS t USING (database_name, schema_name, table_name)
WHERE c.database_name NOT IN ('system', 'temp') AND NOT t.temporary
  AND ($database IS NULL OR c.database_name = $database)
ORDER BY c.table_name, c.column_index"""

Column = tuple[str, str, str, bool]


def look(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """LogDamagedError naming everything in the file that no qclog puts there. Nothing of it is run."""
    functions = connection.execute(_FUNCTIONS).fetchall()  # by far the slowest of these
    found = sorted(f"macro {name}" for name, database in functions if database != "system")
    has_triggers = ("duckdb_triggers", "system") in functions  # DuckDB 1 has none
    for kind, query in _FOREIGN.items():
        if kind != "trigger" or has_triggers:
            rows = connection.execute(query).fetchall()
            found += sorted(f"{kind} {name}" for name, database in rows if database not in ("system", "temp"))
    if found:
        raise LogDamagedError(
            f"the file holds what is no part of a log: {_listed(found)}",
            field="log",
            found=path,
            hint="none of it was run and nothing was changed; restore the last backup under another name, or have "
            "someone who knows databases take it out",
        )


@cache
def columns_of_a_log() -> tuple[Column, ...]:
    """The columns of every table of this qclog's schema, as (table, column, type, whether it may be empty)."""
    text = resources.sql_text("columns.csv").splitlines()
    return tuple((r["table"], r["column"], r["type"], r["nullable"] == "yes") for r in csv.DictReader(text))


def columns_in(connection: duckdb.DuckDBPyConnection, database: str | None = None) -> tuple[Column, ...]:
    """The columns of every table in the file, or in the attached `database`."""
    return tuple(connection.execute(_COLUMNS, {"database": database}).fetchall())


def check_columns(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """LogDamagedError naming each table and column that is not as this qclog's schema has it."""
    ours, theirs = columns_of_a_log(), columns_in(connection)
    if ours == theirs:
        return
    raise not_as_made(_differences(ours, theirs), path, f"schema step {len(migrations.known())}")


def _differences(ours: tuple[Column, ...], theirs: tuple[Column, ...]) -> list[str]:
    tables, found = {c[0] for c in ours}, {c[0] for c in theirs}
    told = [f"table {name} is missing" for name in sorted(tables - found)]
    told += [f"table {name} is no table of a log" for name in sorted(found - tables)]
    shared = tables & found
    here = {c[:2]: c[2:] for c in theirs if c[0] in shared}
    for table, column, kind, nullable in (c for c in ours if c[0] in shared):
        said = here.pop((table, column), None)
        if said is None:
            told.append(f"column {table}.{column} is missing")
        elif said[0] != kind:
            told.append(f"column {table}.{column} is {said[0]} where {kind} belongs")
        elif said[1] != nullable:
            told.append(f"column {table}.{column} {'may' if said[1] else 'must not'} be empty, against the schema")
    told += [f"column {table}.{column} is no column of a log" for table, column in here]
    return told or ["the columns stand in another order"]


def not_as_made(told: list[str], path: Path, asked: str) -> LogDamagedError:
    """What is said of tables that are not those `asked` for."""
    return LogDamagedError(
        f"the log's tables are not as qclog made them ({asked}): {_listed(told)}",
        field="log",
        found=path,
        hint="nothing was changed; restore the last backup under another name",
    )


def _listed(found: list[str]) -> str:
    shown = "; ".join(found[:8])
    return shown if len(found) <= 8 else f"{shown}; and {len(found) - 8} more"
