"""A reading stored, and what the terminal answers to it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qclog.services.jobs.capture import Taken
    from qclog.store.log import Log


def store_and_answer(log: Log, store: Callable[[], Taken], *, named: bool, put_right: str) -> None:
    """Store a reading and print the answer, in one opening of the log.

    Whatever fails once it is stored, the answer says that it is, so that nobody types it again. `named`: say where;
    `put_right`: how to correct it; `{attempt}` in it stands for the number of the attempt.
    """
    from qclog.services.series import history

    taken: Taken | None = None
    standing, trouble = "", ""
    try:
        with log.kept_open():
            taken = store()
            standing = history.standing(log, taken)
    except Exception as error:
        if taken is None:
            raise
        trouble = str(error)
    finally:  # after Ctrl-C, too
        if taken is not None:
            _print_taken(taken, standing, trouble, named=named, put_right=put_right)


def _print_taken(taken: Taken, standing: str, trouble: str, *, named: bool, put_right: str) -> None:
    """Read back what was stored, how it stands, and any question with the way to put it right."""
    from qclog.words import sentences as wording

    characteristic = taken.characteristic
    parts = [taken.read_back, wording.verdict_text(taken.verdict, characteristic), standing]
    where = f"{wording.place_text(taken.place, characteristic)}: " if named else ""
    print("  " + where + "; ".join(p for p in parts if p))
    if taken.verdict.out:
        print(f"  ! limits: {wording.asked_text(characteristic, taken.verdict)}. Stored as read.")
    if taken.doubt is not None:
        print(f"  ? {taken.doubt.question}")
        print(f"    Stored as said. If it was mistyped, {put_right.format(attempt=taken.attempt)}.")
    if trouble:
        print(f"    It is stored. Where it stands among its kind could not be worked out: {trouble}")
