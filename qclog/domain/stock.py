"""Shim stock: sizes of leaf in named sets, and the movements that make their counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

MOVES = ("bought", "counted", "taken", "returned", "scrapped")


@dataclass(frozen=True, slots=True)
class ShimSize:
    """A size of leaf: its set, what the packet says, what it measures, one unit for the whole set."""

    stock_set: str
    nominal: float
    measured: float
    unit: str
    layer: float | None = None


@dataclass(frozen=True, slots=True)
class ShimMove:
    """Leaves in (change above 0) or out. Taken and returned ones name the job."""

    stock_set: str
    nominal: float
    measured: float
    moved_at: datetime
    change: int
    why: str
    job: str | None = None
    person: str | None = None
    note: str | None = None
