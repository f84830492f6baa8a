"""Whether a log's tables still hold what their constraints ask."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb

from qclog import resources
from qclog.store import contents, migrations

Row = tuple[str, str, str, str | None]


def differences(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Columns and constraints that are missing or not of this schema, and CHECKs that rows break.

    DuckDB holds keys at every write, so a table that has its keys breaks none. CHECKs are asked again, as the schema
    has them, since DuckDB words them differently from version to version.
    """
    ours = _of_step(None)
    found = [{"table": table, "says": says, "rows": None} for table, says in _apart(ours, _rows(connection))]
    if found:
        return found
    for table, _, _, expression in ours:
        if expression is not None:
            count = connection.execute(f"SELECT count(*) FROM {table} WHERE NOT ({expression})").fetchall()[0][0]  # noqa: S608 - ours
            if count:
                found.append({"table": table, "says": f"breaks {expression}", "rows": count})
    return found


def check(connection: duckdb.DuckDBPyConnection, step: int, path: Path) -> None:
    """LogDamagedError if a log whose ledger says schema step `step` has not the tables of that step."""
    told = [f"{table}: {says}" for table, says in _apart(_of_step(step), _rows(connection))]
    if told:
        raise contents.not_as_made(told, path, f"schema step {step}, by the log's ledger")


def rows_no_key_finds(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Tables with rows that a key's index does not have, as (table, key, rows).

    Each row is offered to its own table again, and every one must be refused as being there already: that reads
    every index, which no query does. Nothing is kept of it.
    """
    keys = connection.execute(
        "SELECT table_name, constraint_column_names FROM duckdb_constraints() WHERE"
        " database_name NOT IN ('system', 'temp') AND constraint_type IN ('PRIMARY KEY', 'UNIQUE') ORDER BY ALL"
    ).fetchall()
    found = []
    for table, columns in keys:
        key = ", ".join(columns)
        connection.execute("BEGIN")
        try:
            query = f"INSERT INTO {table} SELECT * FROM {table} ON CONFLICT ({key}) DO NOTHING"  # noqa: S608 - names of ours
            try:
                rows = connection.execute(query).fetchall()[0][0]
            except duckdb.ConstraintException:  # not found by this key, but by another
                rows = 1
        finally:
            connection.execute("ROLLBACK")
        if rows:
            found.append({"table": table, "key": key, "rows": rows})
    return found


def _apart(ours: list[Row], theirs: list[Row]) -> Iterator[tuple[str, str]]:
    for verb, rows, others in (("is missing", ours, theirs), ("is not of this schema", theirs, ours)):
        for table, kind, columns in (_named(rows) - _named(others)).elements():
            yield table, f"{kind} {columns} {verb}"


def _of_step(step: int | None) -> list[Row]:
    with duckdb.connect(":memory:") as fresh:
        migrations.create(fresh, upto=step)
        return _rows(fresh)


def _rows(connection: duckdb.DuckDBPyConnection) -> list[Row]:
    return connection.execute(resources.sql_text("queries/schema_constraints.sql")).fetchall()


def _named(rows: list[Row]) -> Counter[tuple[str, str, str]]:
    return Counter((table, kind, columns) for table, kind, columns, _ in rows)
