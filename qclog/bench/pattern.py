"""Contact pattern: what was seen, and the move it asks for; add or remove follows from where the shim is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from qclog.bench.gate import checked
from qclog.errors import InputError

Way = Literal["toward", "away", "none"]
CATEGORIES = ("central", "toe", "heel", "high", "low", "cross", "lame")
BY_MANUAL = "The move depends on the gears' hand and the manual: make one small move, mark again, and compare."


@dataclass(frozen=True, slots=True)
class Move:
    """The first move a pattern asks for: of the pinion, of the crown wheel, each toward the other, away, or none."""

    seen: str
    meaning: str
    pinion: Way
    wheel: Way
    reject: bool = False


_MOVES = {
    "central": Move("central", "contact is central", "none", "none"),
    "toe": Move("toe", "contact lies at the small end", "toward", "away"),
    "heel": Move("heel", "contact lies at the large end", "away", "toward"),
    "high": Move("high", "contact lies at the tip: the pinion stands too far out", "toward", "none"),
    "low": Move("low", "contact lies at the root: the pinion stands too deep", "away", "none"),
    "cross": Move(
        "cross", "contact lies at opposite ends: housing or gears are out of true", "none", "none", reject=True
    ),
    "lame": Move("lame", "contact lies unevenly: housing or gears are out of true", "none", "none", reject=True),
}


@checked
def move_for(seen: str) -> Move:
    """The first move for a pattern seen on the drive side. InputError for a word that is no pattern."""
    found = _MOVES.get(seen)
    if found is None:
        raise InputError(
            "this is no contact pattern", field="pattern", found=seen, hint="there are " + ", ".join(CATEGORIES)
        )
    return found


@checked
def shim_for_move(way: Way, more_shim: Literal["toward", "away"]) -> str:
    """`add shim`, `remove shim` or nothing, for a move of the pinion, when more shim moves it `more_shim`."""
    if more_shim not in ("toward", "away"):
        raise InputError("more shim moves the pinion toward the wheel or away", field="more_shim", found=more_shim)
    if way == "none":
        return ""
    return "add shim" if way == more_shim else "remove shim"


@checked
def advise(seen: str, more_shim: Literal["toward", "away"]) -> str:
    """The move in words: `high: contact lies at the tip ...; pinion toward the wheel (remove shim)`."""
    move = move_for(seen)
    if move.reject:
        return f"{seen}: {move.meaning}; no shim puts that right"
    said = []
    if move.pinion != "none":
        said.append(f"pinion {_ways[move.pinion]} the wheel ({shim_for_move(move.pinion, more_shim)})")
    if move.wheel != "none":
        said.insert(0, f"wheel {_ways[move.wheel]} the pinion first, then")
    return f"{seen}: {move.meaning}; {' '.join(said) if said else 'no move'}"


_ways = {"toward": "toward", "away": "away from"}
