"""A reading against its limits: inside, low, high, or too close to call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from qclog.domain.sheets.casetypes import Characteristic, Limits

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import polars as pl

INSIDE, LOW, HIGH, CLOSE = "inside", "low", "high", "too close to call"
NOT_JUDGED = "not judged"
OUT = (LOW, HIGH, "fail")
ROUNDING = 1e-6  # of a step: far below what a gauge shows, far above what sums of doubles leave over


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a reading stands: `result`, and the limit set and limits it was judged by (None: not judged)."""

    result: str
    limit_set: str | None = None
    limits: Limits | None = None

    @property
    def out(self) -> bool:
        """Whether it is out of limits (or failed)."""
        return self.result in OUT


def slack_of(step: float | None) -> float:
    """By how much a value may pass a limit and still be on it, in the unit of `step`; None: as for 0.001 of the unit.

    It stands for the rounding of doubles only, so it never grows with the limit or with the value.
    """
    return ROUNDING * (1e-3 if step is None else step)


def judge_interval(low: float | None, high: float | None, limits: Limits, *, slack: float = 0.0) -> str:
    """Where the interval [low, high] stands to `limits`; None is open on that side.

    A value on a limit is inside. A feeler bracket that straddles a limit is too close to call, and so is one
    that only touches it from outside by its open end. `slack` allows for rounding of the numbers themselves.
    """
    lower = float("-inf") if limits.lower is None else limits.lower - slack
    upper = float("inf") if limits.upper is None else limits.upper + slack
    bottom = float("-inf") if low is None else low
    top = float("inf") if high is None else high
    if lower <= bottom and top <= upper:
        return INSIDE
    if bottom == top:
        return LOW if top < lower else HIGH
    if top <= lower + 2 * slack:
        return LOW
    if bottom >= upper - 2 * slack:
        return HIGH
    return CLOSE


def judge_columns(
    low: npt.NDArray[np.float64], high: npt.NDArray[np.float64], limits: Limits, *, slack: float = 0.0
) -> npt.NDArray[Any]:
    """`judge_interval` for many intervals at once: arrays of ends of one shape, infinite where open.

    Rows in which nothing was read (an end is NaN, or both are open) are not judged.
    """
    import numpy as np

    lower = -np.inf if limits.lower is None else limits.lower - slack
    upper = np.inf if limits.upper is None else limits.upper + slack
    point = low == high
    result = np.full(low.shape, CLOSE, dtype=object)
    result[~point & (low >= upper - 2 * slack)] = HIGH
    result[~point & (high <= lower + 2 * slack)] = LOW
    result[point & (low > upper)] = HIGH
    result[point & (high < lower)] = LOW
    result[(lower <= low) & (high <= upper)] = INSIDE
    result[np.isnan(low) | np.isnan(high) | (np.isinf(low) & np.isinf(high))] = NOT_JUDGED
    return result


WORST_FIRST = (HIGH, LOW, CLOSE, INSIDE, NOT_JUDGED)


def worst_column(column: str) -> pl.Expr:
    """The worst of the verdicts in a group: one that is out, before one too close to call, before one inside."""
    import polars as pl

    rank = pl.col(column).replace_strict({word: i for i, word in enumerate(WORST_FIRST)}, return_dtype=pl.Int64).min()
    return rank.replace_strict(dict(enumerate(WORST_FIRST)), return_dtype=pl.String)


def judge_reading(
    characteristic: Characteristic,
    *,
    stage: str,
    condition: str | None,
    low: float | None,
    high: float | None,
    word: str | None = None,
) -> Verdict:
    """The verdict on the reading at one place; none where the limits are for all places together (a run-out)."""
    if characteristic.judged_whole:
        return Verdict(NOT_JUDGED)
    return judge(characteristic, stage=stage, condition=condition, low=low, high=high, word=word)


def judge(
    characteristic: Characteristic,
    *,
    stage: str,
    condition: str | None,
    low: float | None,
    high: float | None,
    word: str | None = None,
) -> Verdict:
    """The verdict on what `characteristic` is worth, given in its unit, for parts that are `condition`."""
    if word is not None:
        return Verdict(word if word in ("pass", "fail") else NOT_JUDGED)
    chosen = characteristic.limit_set(stage, condition)
    if chosen is None or (low is None and high is None):
        return Verdict(NOT_JUDGED)
    name, limits = chosen
    if limits.lower is None and limits.upper is None:
        return Verdict(NOT_JUDGED, name, limits)
    return Verdict(judge_interval(low, high, limits, slack=slack_of(characteristic.step)), name, limits)
