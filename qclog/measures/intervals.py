"""A reading's ends, and the number that stands for it. None, or a null, is an open end; both: nothing was read.

A point and a bracket (fifteen goes, sixteen does not) are worth a number: the bracket's middle. A reading open on one
side is worth none: it is at most, or at least, its known end, and stays so in sums, charts, fits and judging.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from qclog.domain.sheets.ranges import Range

if TYPE_CHECKING:
    import polars as pl


def as_number(low: float | None, high: float | None) -> float | None:
    """The number that stands for [low, high]: the point, or the middle of the bracket; None where an end is open."""
    return None if low is None or high is None else (low + high) / 2


def drawn_at(low: float | None, high: float | None) -> float | None:
    """Where a reading is drawn: at its number, or at its known end, with the mark of an open one; None for nothing."""
    number = as_number(low, high)
    return number if number is not None else high if low is None else low


def as_range(low: float | None, high: float | None) -> Range | None:
    """The reading as sums take it: its number, or open on a side; None where nothing was read."""
    number = as_number(low, high)
    return as_ends(low, high) if number is None else Range(number, number)


def as_ends(low: float | None, high: float | None) -> Range | None:
    """The reading from end to end, a bracket too; None where nothing was read."""
    if low is None and high is None:
        return None
    return Range(-math.inf if low is None else low, math.inf if high is None else high)


def ends_of(worth: Range) -> tuple[float | None, float | None]:
    """The ends of a range of floats: None where open; both None where nothing is known."""
    if math.isnan(worth.low) or math.isnan(worth.high):
        return None, None
    return (None if math.isinf(worth.low) else worth.low), (None if math.isinf(worth.high) else worth.high)


def number_column() -> pl.Expr:
    """`as_number` of the columns `low` and `high`; null where an end is open."""
    import polars as pl

    return (pl.col("low") + pl.col("high")) / 2


def drawn_column() -> pl.Expr:
    """`drawn_at` of the columns `low` and `high`."""
    import polars as pl

    return pl.coalesce(number_column(), "low", "high")


def open_column() -> pl.Expr:
    """`below` where only the upper end is known, `above` where only the lower one is; empty otherwise."""
    import polars as pl

    low, high = pl.col("low").is_not_null(), pl.col("high").is_not_null()
    return pl.when(high & ~low).then(pl.lit("below")).when(low & ~high).then(pl.lit("above")).otherwise(pl.lit(""))
