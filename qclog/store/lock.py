"""One program at a time in the log: a lock file beside the database.

While one process has a DuckDB file open for writing no other can open it even to read, so every use of the log is
open, do one thing, close, under this lock. The lock file is separate because opening the database file itself in
a process that holds it would drop DuckDB's own lock.

The threads of one process, which are the sessions of a page, take turns in the order they came; a process that has just
let go stands back for a moment, so that others, who look every few milliseconds, are not passed over.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from filelock import FileLock, Timeout

from qclog.errors import LogBusyError, LogError

PATIENCE_SECONDS = 30.0
_POLL_SECONDS = 0.002
_STAND_BACK_SECONDS = 0.005


@dataclass
class _Line:
    """The threads of this process that want one log, in the order they came."""

    guard: threading.Lock = field(default_factory=threading.Lock)
    waiting: deque[threading.Event] = field(default_factory=deque)
    let_go_at: float = 0.0

    def wait_for_turn(self, patience: float) -> threading.Event | None:
        """The caller's place in the line, at its head; None after `patience` seconds."""
        mine = threading.Event()
        with self.guard:
            self.waiting.append(mine)
            if self.waiting[0] is mine:
                mine.set()
        if mine.wait(patience):
            return mine
        self.leave(mine)
        return None

    def leave(self, mine: threading.Event) -> None:
        """Give the place up; who is now at the head may go."""
        with self.guard:
            self.waiting.remove(mine)
            if self.waiting:
                self.waiting[0].set()


_lines: dict[str, _Line] = {}
_lines_guard = threading.Lock()


@contextmanager
def holding(log: Path, patience: float = PATIENCE_SECONDS) -> Iterator[None]:
    """Hold the log's lock. LogBusyError after `patience` seconds; LogError where no lock file can be made."""
    until = time.monotonic() + patience
    with _lines_guard:
        line = _lines.setdefault(str(log.absolute()), _Line())
    place = line.wait_for_turn(patience)
    if place is None:
        raise _busy(log, patience)
    try:
        time.sleep(max(0.0, min(_STAND_BACK_SECONDS, line.let_go_at + _STAND_BACK_SECONDS - time.monotonic())))
        lock = FileLock(f"{log}.lock", timeout=max(0.0, until - time.monotonic()), poll_interval=_POLL_SECONDS)
        try:
            lock.acquire()
        except Timeout as error:
            raise _busy(log, patience) from error
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
            line.let_go_at = time.monotonic()
    finally:
        line.leave(place)


def _busy(log: Path, patience: float) -> LogBusyError:
    return LogBusyError(
        f"the log has been in use by another program for {patience:g} s",
        field="log",
        found=log,
        hint="wait for the import or report that is running, or close the program that holds it",
    )
