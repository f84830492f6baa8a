"""What a chart over time is to show, for those who draw it and those who put it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    import polars as pl


@dataclass(frozen=True, slots=True)
class Line:
    """A horizontal line on the value axis: what it says, its value, and whose it is."""

    says: str
    value: float
    whose: str  # "control" or "workshop"
    first: int | None = None  # the unit it begins and ends at, from 1; None: the edge of the chart
    last: int | None = None


@dataclass(frozen=True, slots=True)
class Picture:
    """What to draw. `rows` has taken_at (local time), value, open (`below` or `above` where the value is only the end
    that is known, else empty), job, note ('' when nothing stands out), and hover texts.

    `step` is the finest difference worth a bar of its own in the distribution. `former` are lines of earlier stretches,
    named where they begin, and `breaks` where a new one begins (order of its first unit, why). `marks` (order, value,
    job, says) and `average` (order, value, low, high) are aids to the eye.
    """

    title: str
    subtitle: str
    unit: str
    rows: pl.DataFrame
    lines: Sequence[Line]
    step: float | None = None
    former: Sequence[Line] = ()
    breaks: Sequence[tuple[int, str]] = ()
    marks: pl.DataFrame | None = None
    average: pl.DataFrame | None = None


@dataclass(frozen=True, slots=True)
class GaugePicture:
    """A gauge along local time, from `first` to `last`, in `unit`.

    `checks`: (when, off by, `good` or `bad`). `befell`: (when, what) of all else. `doubtful`: (since, until, why).
    """

    unit: str
    tolerance: float
    first: datetime
    last: datetime
    checks: Sequence[tuple[datetime, float, str]]
    befell: Sequence[tuple[datetime, str]]
    doubtful: Sequence[tuple[datetime, datetime, str]]
