"""Centre and control limits of one group, and which units lie beyond them.

Where the gauge's step is larger than the spread, the limits come from the intervals that the readings stand for; the
middles of brackets are drawn, and decide nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from qclog.domain.sheets.casetypes import Characteristic
from qclog.errors import StatisticsError, TooFewError
from qclog.stats.charts.bracket_limits import individuals_from_brackets
from qclog.stats.charts.limits import IndividualsLimits, individuals
from qclog.stats.rounded.coarse import step_warning

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
    """The control limits of `rows`, which have low, high (null: open) and `open` in the characteristic's unit.

    Rows that are open on a side are no numbers: with some of them, only a fit of all the intervals says anything.
    """
    closed = rows.filter(pl.col("open") == "")
    limits = _individuals(closed["value"])
    if len(closed) < len(rows):
        return _with_open_rows(characteristic, rows)
    if limits is None or not limits.enough:
        return _none_set(rows, limits, f"too few to set limits: {len(rows)} of the {TOO_FEW} it takes")
    coarse = _coarse(characteristic, rows, limits)
    # A mean of several intervals, or a sum of them, is known better than its ends say; the largest of them is not.
    one_interval = characteristic.over_positions in ("max", "min") or not characteristic.positions
    if coarse is not None and one_interval and not characteristic.derived:
        found = _from_intervals(characteristic, rows, _COARSE.format(step=_step_words(characteristic)))
        if found is not None:
            return found
    value = rows["value"].to_numpy()
    return _marked(limits, value, value, by_intervals=False, notes=(*limits.warnings, *([coarse] if coarse else ())))


def _individuals(values: pl.Series) -> IndividualsLimits | None:
    try:
        return individuals(values, minimum=TOO_FEW)
    except TooFewError:
        return None


def _with_open_rows(characteristic: Characteristic, rows: pl.DataFrame) -> CaseLimits:
    """Limits from the intervals, of which some are open; none where a fit of them does not settle."""
    counts = [(word, int((rows["open"] == word).sum())) for word in ("below", "above")]
    said = " and ".join(f"{n} of {len(rows)} are only known to be {word} a leaf" for word, n in counts if n)
    if len(rows) < TOO_FEW:
        return _none_set(rows, None, f"{said}; too few to set limits: {len(rows)} of the {TOO_FEW} it takes")
    found = _from_intervals(characteristic, rows, f"{said}: {_OPEN}")
    if found is not None:
        return found
    return _none_set(rows, None, f"{said}: too many to tell centre, spread or limits from the rest")


def _none_set(rows: pl.DataFrame, limits: IndividualsLimits | None, note: str) -> CaseLimits:
    none = np.zeros(len(rows), dtype=bool)
    return CaseLimits(limits, none, none, by_intervals=False, notes=(note,))


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


_COARSE = (
    "{step} is coarse against the spread: the centre and the limits come from the intervals that the readings stand"
    " for, and only their middles are drawn"
)
_OPEN = "the centre and the limits come from the intervals that the readings stand for; these are drawn at their leaf"


def _step_words(characteristic: Characteristic) -> str:
    return f"a step of {characteristic.step:g} {characteristic.unit}" if characteristic.step else "the leaves' step"


def _from_intervals(characteristic: Characteristic, rows: pl.DataFrame, said: str) -> CaseLimits | None:
    """Limits by likelihood on the intervals, with a note of why; None where they do not settle on any."""
    low, high = _intervals(rows, characteristic.step or 0.0)
    try:
        limits = individuals_from_brackets(low, high, minimum=TOO_FEW)
    except StatisticsError:
        return None
    return _marked(limits, low, high, by_intervals=True, notes=(said, *limits.warnings))


def _intervals(rows: pl.DataFrame, step: float) -> tuple[Ends, Ends]:
    """The ends of each reading: of its bracket, infinite where open; a number stands for half a step either way."""
    half = pl.when(pl.col("low") == pl.col("high")).then(step / 2).otherwise(0.0)
    ends = rows.select(
        low=(pl.col("low") - half).fill_null(float("-inf")), high=(pl.col("high") + half).fill_null(float("inf"))
    )
    return ends["low"].to_numpy(), ends["high"].to_numpy()
