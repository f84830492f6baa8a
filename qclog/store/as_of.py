"""The log as it stood: at an earlier entry, or on an earlier day for what came in as one import.

Rows are only added and every row names its entry, so the log at any entry is still there: views that bear the tables'
names and leave out later rows, and every query answers as of then. What was imported has one entry for a long history;
there, and only there, the rows' own times say what had happened by a moment, which is the best that can be said.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import duckdb

from qclog.store import contents

BY_IMPORT = ("import", "demo")
_JOB_OPENED = "job IN (SELECT j.job FROM {file}.main.job AS j WHERE j.opened <= {moment})"
_JOB_LEFT = (
    "job IN (SELECT d.job FROM {file}.main.job_detail AS d WHERE d.name = 'dispatched'"
    " AND TRY_CAST(d.value AS TIMESTAMP) <= {moment})"
)
_HAPPENED = {
    "reading": "taken_at <= {moment}",
    "strike": "reading IN (SELECT r.id FROM {file}.main.reading AS r WHERE r.taken_at <= {moment})",
    "job": "opened <= {moment}",
    "job_detail": (
        "CASE name WHEN 'dispatched' THEN coalesce(TRY_CAST(value AS TIMESTAMP) <= {moment}, false)"
        f" WHEN 'concession' THEN {_JOB_LEFT} WHEN 'outstanding' THEN {_JOB_LEFT} ELSE {_JOB_OPENED} END"
    ),
    "part": _JOB_OPENED,
    "comeback": "returned <= {moment}",
    "comeback_detail": "returned <= {moment}",
    "gauge_check": "checked_at <= {moment}",
    "sheet": "since IS NULL OR since <= {moment}",
    "finding_note": "noted_at <= {moment}",
    "change": "since <= {moment}",
    "shim_movement": "moved_at <= {moment}",
    "sign_on": "tried_at <= {moment}",
}  # what an import has no time for (people, gauges, sizes of shims) was there from the beginning

_FILE = "SELECT database_name FROM duckdb_databases() WHERE NOT internal"


@dataclass(frozen=True, slots=True)
class AsOf:
    """Up to entry `entry`; with `moment` (UTC), later imports too as far as their rows had happened by then: all of
    them, or those up to entry `through`. `at`: the moment (UTC) that was asked for, or of the entry that was.
    """

    entry: int
    moment: datetime | None = None
    through: int | None = None
    at: datetime | None = None


def shadow(connection: duckdb.DuckDBPyConnection, asked: AsOf) -> None:
    """Let every query on this connection see the log as of `asked`; the file is not touched."""
    file = '"{}"'.format(str(connection.execute(_FILE).fetchall()[0][0]).replace('"', '""'))
    tables = {table for table, column, _, _ in contents.columns_of_a_log() if column == "entry"}
    for table in sorted(tables):
        connection.execute(
            f'CREATE OR REPLACE TEMP VIEW "{table}" AS'  # noqa: S608 - names and numbers of ours
            f' SELECT * FROM {file}.main."{table}" WHERE {_kept(table, file, asked)}'
        )


def _kept(table: str, file: str, asked: AsOf) -> str:
    known = f"entry <= {asked.entry:d}"
    if asked.moment is None:
        return known
    ways = ", ".join(f"'{way}'" for way in BY_IMPORT)
    imports = f"entry IN (SELECT e.entry FROM {file}.main.entry AS e WHERE e.via IN ({ways}))"  # noqa: S608 - words of ours
    if asked.through is not None:
        imports += f" AND entry <= {asked.through:d}"
    happened = _HAPPENED.get(table, "true").format(file=file, moment=f"TIMESTAMP '{asked.moment.isoformat(sep=' ')}'")
    return f"{known} OR ({imports} AND ({happened}))"
