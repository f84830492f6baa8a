"""What the terminal answers to a reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qclog.services.capture import Taken
    from qclog.store.log import Log


def print_taken(taken: Taken, log: Log, *, named: bool, put_right: str) -> None:
    """Read back what was stored (`named`: and where), how it stands, and any question with the way to put it right."""
    from qclog.services import history, wording

    characteristic = history.characteristic_of(log, taken.place)
    parts = [taken.read_back, wording.verdict_text(taken.verdict, characteristic)]
    parts.append(history.standing(log, taken))
    where = f"{wording.place_text(taken.place, characteristic)}: " if named else ""
    print("  " + where + "; ".join(p for p in parts if p))
    if taken.verdict.out:
        print(f"  ! limits: {wording.asked_text(characteristic, taken.verdict)}. Stored as read.")
    if taken.doubt is not None:
        print(f"  ? {taken.doubt.question}")
        print(f"    Stored as said. If it was mistyped, {put_right}.")
