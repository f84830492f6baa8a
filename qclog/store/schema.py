"""Whether a log's tables still hold what their constraints ask."""

from __future__ import annotations

from collections import Counter
from typing import Any

import duckdb

from qclog import resources
from qclog.store import migrations

Row = tuple[str, str, str, str | None]


def differences(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Columns and constraints that are missing or not of this schema, and CHECKs that rows break.

    DuckDB holds keys at every write, so a table that has its keys breaks none. CHECKs are asked again, as the schema
    has them, since DuckDB words them differently from version to version.
    """
    with duckdb.connect(":memory:") as fresh:
        migrations.create(fresh)
        ours = _rows(fresh)
    theirs = _rows(connection)
    found = []
    for verb, rows, others in (("is missing", ours, theirs), ("is not of this schema", theirs, ours)):
        for table, kind, columns in (_named(rows) - _named(others)).elements():
            found.append({"table": table, "says": f"{kind} {columns} {verb}", "rows": None})
    if found:
        return found
    for table, _, _, expression in ours:
        if expression is not None:
            count = connection.execute(f"SELECT count(*) FROM {table} WHERE NOT ({expression})").fetchall()[0][0]  # noqa: S608 - ours
            if count:
                found.append({"table": table, "says": f"breaks {expression}", "rows": count})
    return found


def _rows(connection: duckdb.DuckDBPyConnection) -> list[Row]:
    return connection.execute(resources.sql_text("queries/schema_constraints.sql")).fetchall()


def _named(rows: list[Row]) -> Counter[tuple[str, str, str]]:
    return Counter((table, kind, columns) for table, kind, columns, _ in rows)
