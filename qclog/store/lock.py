"""One program at a time in the log: a lock file beside the database.

While one process has a DuckDB file open for writing no other can open it even to read, so every use of the log is
open, do one thing, close, under this lock. The lock file is separate because opening the database file itself in
a process that holds it would drop DuckDB's own lock.

Whoever writes, verifies or copies says in a file beside it what for; who waits longer than a moment is told, and waits
longer than for a holder that says nothing.

The threads of one process, which are the sessions of a page, take turns in the order they came; a process that has just
let go stands back for a moment, so that others, who look every few milliseconds, are not passed over.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from qclog import notices
from qclog.errors import LogBusyError, LogError

PATIENCE_SECONDS = 30.0
_POLL_SECONDS = 0.002
_STAND_BACK_SECONDS = 0.005
_TELL_AFTER_SECONDS = 1.5
_MORE_PATIENCE = 10  # times as long where the holder says what it is doing: an import of millions, a backup


@dataclass
class _Line:
    """The threads of this process that want one log, in the order they came."""

    guard: threading.Lock = field(default_factory=threading.Lock)
    waiting: deque[threading.Event] = field(default_factory=deque)
    let_go_at: float = 0.0

    def wait_for_turn(self, wait: _Wait) -> threading.Event | None:
        """The caller's place in the line, at its head; None where patience ends first."""
        mine = threading.Event()
        with self.guard:
            self.waiting.append(mine)
            if self.waiting[0] is mine:
                mine.set()
        if wait.for_it(mine.wait):
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


@dataclass
class _Wait:
    """One wait for a log: told once, with who holds it, when it takes longer than a moment."""

    log: Path
    patience: float
    began: float = field(default_factory=time.monotonic)
    told: bool = False
    extended: bool = False

    @property
    def left(self) -> float:
        return max(0.0, self.began + self.patience - time.monotonic())

    def for_it(self, wait: Callable[[float], bool]) -> bool:
        """Whether `wait`, given seconds, came to its end before patience did."""
        if not self.told:
            if wait(min(_TELL_AFTER_SECONDS, self.left)):
                return True
            if self.left:
                notices.tell(f"waiting for the log: {_held_for(self.log) or 'another program is using it'}")
            self.told = True
        if wait(self.left):
            return True
        if self.extended or not _held_for(self.log):
            return False
        self.patience, self.extended = self.patience * _MORE_PATIENCE, True
        return wait(self.left)


@contextmanager
def holding(log: Path, patience: float = PATIENCE_SECONDS, what: str = "") -> Iterator[None]:
    """Hold the log's lock; `what` for, others who wait are told.

    LogBusyError, with who holds it, after `patience` seconds; LogError where no lock file can be made.
    """
    wait = _Wait(log, patience)
    with _lines_guard:
        line = _lines.setdefault(str(log.absolute()), _Line())
    place = line.wait_for_turn(wait)
    if place is None:
        raise _busy(log, patience)
    try:
        time.sleep(max(0.0, min(_STAND_BACK_SECONDS, line.let_go_at + _STAND_BACK_SECONDS - time.monotonic())))
        lock = FileLock(f"{log}.lock", poll_interval=_POLL_SECONDS)
        if not wait.for_it(lambda seconds: _acquired(lock, log, seconds)):
            raise _busy(log, patience)
        try:
            with _saying(log, what):
                yield
        finally:
            lock.release()
            line.let_go_at = time.monotonic()
    finally:
        line.leave(place)


def _acquired(lock: FileLock, log: Path, seconds: float) -> bool:
    try:
        for timeout in (seconds, 0.0):  # nobody holds what is not there: it was let go just now, or can't be made
            with suppress(Timeout):
                lock.acquire(timeout=timeout)
                return True
            if Path(lock.lock_file).exists():
                return False
    except OSError as error:
        raise _no_lock_file(log, error.strerror or str(error)) from error
    raise _no_lock_file(log, "the folder takes none")


def _no_lock_file(log: Path, why: str) -> LogError:
    return LogError(
        f"no lock file can be made beside the log: {why}",
        field="log",
        found=log,
        hint="keep the log in a folder you may write to",
    )


@contextmanager
def _saying(log: Path, what: str) -> Iterator[None]:
    """Say beside the lock what it is held for. Where that can't be written, nobody is told, and the work goes on."""
    if not what:
        yield
        return
    note = _note(log)
    with suppress(OSError):
        note.write_text(f"{what}, since {datetime.now().astimezone():%H:%M:%S}", encoding="utf-8")
    try:
        yield
    finally:
        with suppress(OSError):
            note.unlink(missing_ok=True)


def _note(log: Path) -> Path:
    return log.with_name(f"{log.name}.lock.for")


def _held_for(log: Path) -> str:
    """What the log is held for, where its holder says so; one killed may leave its note until the next who writes."""
    try:
        return _note(log).read_text(encoding="utf-8")[:200]
    except (OSError, UnicodeDecodeError):
        return ""


def _busy(log: Path, patience: float) -> LogBusyError:
    held_for = _held_for(log)
    return LogBusyError(
        f"the log has been in use by another program for {patience:g} s" + (f" ({held_for})" if held_for else ""),
        field="log",
        found=log,
        hint="wait for the import or report that is running, or close the program that holds it",
    )
