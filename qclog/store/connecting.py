"""A connection to a log file in which nothing runs but what qclog asks.

Built-in functions are found before anything the file might define (the search path), no other file can be reached
(external access is off), and names that are not in the log are never taken from Python's variables.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from qclog import notices
from qclog.store import contents
from qclog.store.paths import path_for_duckdb
from qclog.store.trouble import is_held_elsewhere, says_damaged, why_not_opened, why_not_written

STORAGE_VERSION = "v1.5.0"
_SAFE: dict[str, Any] = {"enable_external_access": "false", "python_enable_replacements": "false"}
_WAL_HEADER_BYTES = 128  # a write-ahead file no longer than this holds no whole transaction

_Mark = tuple[int, int, int]
_State = tuple[int, int]
_left_as: dict[Path, _Mark] = {}  # log files as this process left them, looked through


@contextmanager
def connected(path: Path, patience: float, *, new: bool = False) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file `path`, whose lock the caller holds; it is closed afterwards.

    Raises LogDamagedError, before any query of ours runs, if there is anything in it but the tables of a log, and the
    other errors of `trouble`.
    """
    wal = Path(f"{path}.wal")
    unread = None if new or not _is_written(wal) else _Unread(path, wal)
    mark = _mark(path)
    connection = _open(path, patience, new=new)
    try:
        if not new:
            find_built_in_first(connection)
            if unread is not None or mark is None or _left_as.get(path) != mark:
                contents.look(connection, path)
            if unread is not None:
                unread.tell(connection)
        yield connection
    except duckdb.InterruptException as error:
        raise KeyboardInterrupt from error
    except duckdb.Error as error:
        unusable = isinstance(error, duckdb.IOException | duckdb.FatalException | duckdb.OutOfMemoryException)
        if unusable or "Failed to commit" in str(error) or says_damaged(error):
            raise why_not_written(path, error) from error
        raise
    except RuntimeError as error:
        if str(error) == "Query interrupted":  # how DuckDB's Python side says that Ctrl-C was pressed
            raise KeyboardInterrupt from error
        raise
    finally:
        connection.close()
    now = _mark(path)
    if now is not None and not new:
        _left_as[path] = now


def find_built_in_first(connection: duckdb.DuckDBPyConnection) -> None:
    """Let names be looked up among what is built in before the file: a macro in it can't stand in for a function."""
    name = connection.execute("SELECT system.main.current_database()").fetchall()[0][0]
    path = 'system.main,"{}".main'.format(str(name).replace('"', '""'))
    connection.execute("SET search_path = '{}'".format(path.replace("'", "''")))


def _open(path: Path, patience: float, *, new: bool) -> duckdb.DuckDBPyConnection:
    config = _SAFE | ({"storage_compatibility_version": STORAGE_VERSION} if new else {})
    deadline = time.monotonic() + patience
    while True:
        try:
            return duckdb.connect(path_for_duckdb(path), config=config)
        except duckdb.Error as error:
            if is_held_elsewhere(error) and time.monotonic() < deadline:
                time.sleep(0.05)
                continue
            raise why_not_opened(path, error) from error


def _mark(path: Path) -> _Mark | None:
    """What tells whether a file was changed since: None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def _is_written(wal: Path) -> bool:
    try:
        return wal.stat().st_size > _WAL_HEADER_BYTES
    except OSError:
        return False


class _Unread:
    """A write-ahead file that a crash left: DuckDB drops one whose beginning it does not know, without a word.

    Whether it was read shows in the log's last entry, with it and without it.
    """

    def __init__(self, path: Path, wal: Path) -> None:
        self.path = path
        self.aside = path.with_name(f"{path.name}.wal-unread-{datetime.now(UTC):%Y%m%dT%H%M%S%f}")
        shutil.copyfile(wal, self.aside)
        self.before = self._without()

    def _without(self) -> _State | None:
        """How far the file alone is, under another name beside which no write-ahead file lies."""
        with tempfile.TemporaryDirectory(dir=self.path.parent, prefix=".alone-") as folder:
            alone = Path(folder) / "alone.duckdb"
            try:
                os.link(self.path, alone)
            except OSError:  # a file system without second names
                shutil.copyfile(self.path, alone)
            try:
                with duckdb.connect(str(alone), read_only=True, config=_SAFE) as connection:
                    find_built_in_first(connection)
                    return _state(connection)
            except duckdb.Error:
                return None  # the opening that follows says what is wrong with it

    def tell(self, connection: duckdb.DuckDBPyConnection) -> None:
        """Keep the write-ahead file, and say so, if nothing of it arrived in the log."""
        if self.before is None or _state(connection) != self.before:
            self.aside.unlink(missing_ok=True)
            return
        notices.tell(
            f"beside the log lay a write-ahead file, left by a crash, of which nothing could be read; it is kept as "
            f"{self.aside.name}. What was stored last may be missing: the last entry is {self.before[0]}"
        )


def _state(connection: duckdb.DuckDBPyConnection) -> _State | None:
    """The numbers of the last entry and of the last schema step; None in a file that is no log."""
    query = "SELECT coalesce(max(entry), 0), (SELECT max(number) FROM migration) FROM entry"
    try:
        entry, step = connection.execute(query).fetchall()[0]
    except (duckdb.CatalogException, duckdb.BinderException):
        return None
    return entry, step


def unread_beside(path: Path) -> list[str]:
    """The names of write-ahead files that were kept because they could not be read."""
    pattern = re.compile(re.escape(path.name) + r"\.wal-unread-\d{8}T\d+")
    return sorted(file.name for file in path.parent.iterdir() if pattern.fullmatch(file.name))
