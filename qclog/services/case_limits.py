"""Centre and control limits of one group, and which units lie beyond them.

Where the gauge's step is larger than the spread, the limits come from the intervals that the readings stand for; the
middles of brackets are drawn, and decide nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from qclog.domain.casetypes import Characteristic
from qclog.errors import StatisticsError, TooFewError
from qclog.stats.bracket_limits import individuals_from_brackets
from qclog.stats.coarse import step_warning
from qclog.stats.limits import IndividualsLimits, individuals

TOO_FEW = 10

Marks = npt.NDArray[np.bool_]
Ends = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CaseLimits:
    """`limits` (None with fewer than two values), the rows `above` and `below` them, whether they come from
    intervals, and what to bear in mind.
    """

    limits: IndividualsLimits | None
    above: Marks
    below: Marks
    by_intervals: bool
    notes: tuple[str, ...]


def set_limits(characteristic: Characteristic, rows: pl.DataFrame) -> CaseLimits:
    """The control limits of `rows`, which have value, low and high (null: open) in the characteristic's unit."""
    try:
        limits = individuals(rows["value"], minimum=TOO_FEW)
    except TooFewError:
        limits = None
    if limits is None or not limits.enough:
        none = np.zeros(len(rows), dtype=bool)
        notes = (f"too few to set limits: {len(rows)} of the {TOO_FEW} it takes",)
        return CaseLimits(limits, none, none, by_intervals=False, notes=notes)
    coarse = _coarse(characteristic, rows, limits)
    # A mean of several intervals, or a sum of them, is not one interval that a likelihood could take.
    if coarse is not None and not characteristic.positions and not characteristic.derived:
        found = _from_intervals(characteristic, rows)
        if found is not None:
            return found
    value = rows["value"].to_numpy()
    return _marked(limits, value, value, by_intervals=False, notes=(*limits.warnings, *([coarse] if coarse else ())))


def _marked(
    limits: IndividualsLimits, low: Ends, high: Ends, *, by_intervals: bool, notes: tuple[str, ...]
) -> CaseLimits:
    """The limits with the rows that lie wholly beyond them; limits without width mark nothing."""
    some = limits.sigma > 0
    return CaseLimits(limits, some & (low > limits.upper), some & (high < limits.lower), by_intervals, notes)


def _coarse(characteristic: Characteristic, rows: pl.DataFrame, limits: IndividualsLimits) -> str | None:
    """A sentence when the step hides much of the spread: the gauge's, or that of the brackets where they are wider."""
    width = (rows["high"] - rows["low"]).median()
    step = max(characteristic.step or 0.0, float(width) if isinstance(width, float) else 0.0)
    if characteristic.positions:
        step /= len(characteristic.positions)
    return step_warning(rows["value"], step, limits.sigma)


def _from_intervals(characteristic: Characteristic, rows: pl.DataFrame) -> CaseLimits | None:
    """Limits by likelihood on the intervals; None where they do not settle on any."""
    low, high = _intervals(rows, characteristic.step or 0.0)
    try:
        limits = individuals_from_brackets(low, high, minimum=TOO_FEW)
    except StatisticsError:
        return None
    step = f"a step of {characteristic.step:g} {characteristic.unit}" if characteristic.step else "the leaves' step"
    said = (
        f"{step} is coarse against the spread: the centre and the limits come from the intervals that the readings "
        "stand for, and only their middles are drawn"
    )
    return _marked(limits, low, high, by_intervals=True, notes=(said, *limits.warnings))


def _intervals(rows: pl.DataFrame, step: float) -> tuple[Ends, Ends]:
    """The ends of each reading: of its bracket, infinite where open; a number stands for half a step either way."""
    half = pl.when(pl.col("low") == pl.col("high")).then(step / 2).otherwise(0.0)
    ends = rows.select(
        low=(pl.col("low") - half).fill_null(float("-inf")), high=(pl.col("high") + half).fill_null(float("inf"))
    )
    return ends["low"].to_numpy(), ends["high"].to_numpy()
