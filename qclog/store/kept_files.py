"""Files that nothing may be written over: logs, and what lies beside them."""

from __future__ import annotations

from pathlib import Path
from uuid import UUID

import duckdb
from filelock import FileLock, Timeout

from qclog.errors import LogError
from qclog.store.copying import opened_to_read

_MARK = slice(8, 12), b"DUCK"  # where a DuckDB file says what it is
_BESIDE = (".wal", ".lock")


def is_log(path: Path) -> bool:
    """Whether `path`, by whatever name or link, leads to a database file such as a log, or to what lies beside one."""
    if path.suffix.lower() in _BESIDE and is_log(path.with_suffix("")):
        return True
    if not path.is_file():
        return False
    beside = Path(f"{path}.lock")
    if not beside.exists():
        return _is_marked(path)
    try:
        with FileLock(beside, timeout=0):  # reading a file that this process has open would drop DuckDB's own lock
            return _is_marked(path)
    except Timeout:
        return True


def _is_marked(path: Path) -> bool:
    where, mark = _MARK
    with path.open("rb") as file:
        return file.read(where.stop)[where] == mark


def last_entry(path: Path) -> tuple[int, UUID] | None:
    """The number and submission of the last entry of a log that is only read; None where it has none.

    LogError if it is in use, damaged, or no log.
    """
    with opened_to_read(path) as connection:
        try:
            row = connection.execute(
                "SELECT entry, submission FROM the_log.main.entry ORDER BY entry DESC LIMIT 1"
            ).fetchone()
        except duckdb.Error as error:
            raise LogError("this is not a log that can be read", field="backup", found=path) from error
    return (int(row[0]), row[1]) if row is not None else None
