"""A child that works on a log until it is killed: `python -m tests.durability.worker ACTION LOG FOLDER`.

Prints `ready`, then before each step `try ...` and, once the step is acknowledged, `done ...`.
"""

from __future__ import annotations

import itertools
import sys
from datetime import datetime
from pathlib import Path
from uuid import UUID

from qclog.domain.places import Place
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.exchange.parquet_copy import export_parquet
from qclog.services.jobs import capture
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import backup
from qclog.store.ids import new_id
from qclog.store.log import Log, Submission

POSITIONS = ("12", "3", "6", "9")
HOW = Circumstances("Ash", "FG-1")


def say(*words: object) -> None:
    """One line to whoever started us, at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def submit(what: str, key: UUID) -> Submission:
    """A submission under a key that was told beforehand."""
    return Submission("Ash", "terminal", what, key)


def take(log: Log, _folder: Path) -> None:
    """Readings, one after another."""
    for number in itertools.count():
        key = new_id()
        say("try", key)
        store(log, number, key)
        say("done", key)


def store(log: Log, number: int, key: UUID) -> None:
    """One reading under the submission `key`, which its note names."""
    place = Place("J-1", "stand_off", "trial", POSITIONS[number % 4])
    capture.take(log, place, str(15 + number % 3), Circumstances("Ash", "FG-1", note=str(key)), submit("r", key))


def correct(log: Log, _folder: Path) -> None:
    """Corrections of one reading, each of the one before."""
    place = Place("J-1", "stand_off", "final", "12")
    capture.take(log, place, "16", HOW, submit("first", new_id()))
    for attempt in itertools.count(1):
        say("try", attempt)
        capture.correct(log, place, attempt, str(14 + attempt % 5), "mistyped", HOW, submit("correction", new_id()))
        say("done", attempt)


def bring_in(log: Log, folder: Path) -> None:
    """One import."""
    say("try", "import")
    import_folder(log, folder, submit("import", new_id()))
    say("done", "import")


def migrate(log: Log, _folder: Path) -> None:
    """The first use of a log of an older qclog."""
    say("try", "migration")
    with log.reading():
        say("done", "migration")


def back_up(log: Log, folder: Path) -> None:
    """Backups, one after another."""
    for number in itertools.count():
        say("try", number)
        backup.back_up(log, folder / f"{number}.duckdb", datetime(2026, 1, 1))
        say("done", number)


def bring_out(log: Log, folder: Path) -> None:
    """Exports, by turns as CSV and as Parquet."""
    for number in itertools.count():
        say("try", number)
        (export_parquet if number % 2 else export_folder)(log, folder / str(number))
        say("done", number)


ACTIONS = {
    "capture": take,
    "correction": correct,
    "import": bring_in,
    "migration": migrate,
    "backup": back_up,
    "export": bring_out,
}

if __name__ == "__main__":
    action, path, place = sys.argv[1:]
    if action not in ("import", "migration"):  # the libraries that a first use loads are not what is killed here
        with Log(Path(path)).reading() as use:
            use.frame("people")
    say("ready")
    ACTIONS[action](Log(Path(path)), Path(place))
