"""One program at a time in the log: a lock file beside the database.

While one process has a DuckDB file open for writing no other can open it even to read, so every use of the log is
open, do one thing, close, under this lock. The lock file is separate because opening the database file itself in
a process that holds it would drop DuckDB's own lock.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from qclog.errors import LogBusyError, LogError

PATIENCE_SECONDS = 30.0
_POLL_SECONDS = 0.004


@contextmanager
def holding(log: Path, patience: float = PATIENCE_SECONDS) -> Iterator[None]:
    """Hold the log's lock. LogBusyError after `patience` seconds; LogError where no lock file can be made."""
    lock = FileLock(f"{log}.lock", timeout=patience, poll_interval=_POLL_SECONDS)
    try:
        lock.acquire()
    except Timeout as error:
        raise LogBusyError(
            f"the log has been in use by another program for {patience:g} s",
            field="log",
            found=log,
            hint="wait for the import or report that is running, or close the program that holds it",
        ) from error
    except OSError as error:
        raise LogError(
            f"no lock file can be made beside the log: {error.strerror or error}",
            field="log",
            found=log,
            hint="keep the log in a folder you may write to",
        ) from error
    try:
        yield
    finally:
        lock.release()
