"""Frames from DuckDB without pyarrow: the same as DuckDB's own, and its failures stay DuckDB's."""

from __future__ import annotations

import duckdb
import pytest

from qclog.store.frames import frame_of

QUERY = """
SELECT i, i * 1.5 AS x, 'j' || i AS t, nullif(i, 2) AS n, uuid() AS u, sum(i) OVER () AS s, i > 1 AS b,
    TIMESTAMP '2026-01-02 03:04:05.678' + i * INTERVAL 1 HOUR AS at, [i, i] AS l, 1.5::DECIMAL(5, 2) AS d
FROM range(4) AS r (i) ORDER BY i
"""


def test_a_frame_is_the_same_as_duckdbs_own() -> None:
    connection = duckdb.connect()
    connection.execute(f"CREATE TABLE t AS {QUERY}")
    frame = frame_of(connection.sql("SELECT * FROM t"))
    assert frame.schema == connection.sql("SELECT * FROM t").pl().schema
    assert frame.rows() == connection.sql("SELECT * FROM t").pl().rows()


def test_a_query_that_fails_in_its_midst_fails_as_duckdb() -> None:
    connection = duckdb.connect()
    connection.execute("CREATE TABLE t AS SELECT i FROM range(3000000) AS r (i)")
    with pytest.raises(duckdb.Error, match="worn out"):
        frame_of(connection.sql("SELECT CASE WHEN i = 2900000 THEN error('worn out') ELSE i END AS i FROM t"))
