"""Brings a log up to the schema this qclog knows: numbered SQL files, each applied once, checksummed."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from functools import cache

import duckdb

from qclog import resources
from qclog.errors import LogDamagedError, LogVersionError
from qclog.store import chain

_LEDGER = """
CREATE TABLE IF NOT EXISTS migration (
    number INTEGER PRIMARY KEY,
    name VARCHAR NOT NULL,
    checksum VARCHAR NOT NULL,
    applied_at TIMESTAMP NOT NULL
)
"""
_CHAINED_FROM = 4  # the schema step that brought the chain of digests


@cache
def known() -> tuple[tuple[int, str, str, str], ...]:
    """The migrations of this qclog: (number, name, text, checksum), in order."""
    files = sorted((resources.folder("sql") / "migrations").glob("*.sql"))
    texts = [(int(f.name[:4]), f.stem, f.read_text(encoding="utf-8")) for f in files]
    return tuple((number, name, text, _checksum(text)) for number, name, text in texts)


def _checksum(text: str) -> str:
    return hashlib.sha256(text.replace("\r\n", "\n").encode()).hexdigest()


def create(connection: duckdb.DuckDBPyConnection, *, upto: int | None = None, ledger: bool = True) -> None:
    """Make the schema in an empty database: of step `upto`, or the last; without `ledger` its table stays empty."""
    connection.execute("BEGIN")
    connection.execute(_LEDGER)
    for number, name, text, checksum in known()[:upto]:
        connection.execute(text)
        if ledger:
            _write_down(connection, number, name, checksum)
    connection.execute("COMMIT")


def applied(connection: duckdb.DuckDBPyConnection) -> int:
    """How many schema steps the log has; nothing is changed.

    LogDamagedError if the file is a database but no log; LogVersionError if a newer qclog made it or an applied
    migration's text differs from ours.
    """
    try:
        rows = connection.execute("SELECT number, checksum FROM migration ORDER BY number").fetchall()
    except (duckdb.CatalogException, duckdb.BinderException) as error:
        raise LogDamagedError(
            "this is a database, but not a qclog log", field="log", hint="name the log, or make a new one"
        ) from error
    ours = {number: checksum for number, _, _, checksum in known()}
    for number, checksum in rows:
        if number not in ours:
            raise LogVersionError(
                f"the log was made by a newer qclog (it has schema step {number}, this qclog knows {max(ours)})",
                field="log",
                hint="install the newer qclog; the log has not been touched",
            )
        if checksum != ours[number]:
            raise LogVersionError(
                f"schema step {number} of the log differs from this qclog's",
                field="log",
                hint="install the qclog that made it; the log has not been touched",
            )
    if [number for number, _ in rows] != list(range(1, len(rows) + 1)):
        raise LogDamagedError("the log's ledger of schema steps has a gap", field="log", hint="restore the last backup")
    return len(rows)


def bring_up(connection: duckdb.DuckDBPyConnection) -> None:
    """Apply what is missing, and begin the chain where there is none, in one transaction."""
    had = applied(connection)
    if had == len(known()):
        return
    connection.execute("RESET search_path")  # what is made belongs into the file, in which nothing foreign was found
    connection.execute("BEGIN")
    for number, name, text, checksum in known()[had:]:
        connection.execute(text)
        _write_down(connection, number, name, checksum)
    if had < _CHAINED_FROM:
        chain.begin(connection)
    connection.execute("COMMIT")


def _write_down(connection: duckdb.DuckDBPyConnection, number: int, name: str, checksum: str) -> None:
    now = datetime.now(UTC).replace(tzinfo=None)
    connection.execute("INSERT INTO migration VALUES (?, ?, ?, ?)", [number, name, checksum, now])
