"""Readings whose step is large against their spread."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from qclog.stats.base.constants import d2
from qclog.stats.base.gate import checked
from qclog.stats.base.series import read_number, read_values, sum_of_squares


@dataclass(frozen=True, slots=True)
class CorrectedSpread:
    """A standard deviation with the rounding taken out, in the unit of the readings.

    `allowed` is False where the correction does not hold; then `sd` is the uncorrected one. `corrected` is
    what the formula gives all the same, 0 where it would be the root of a negative number.
    """

    n: int
    sd: float
    raw_sd: float
    corrected: float
    step: float
    allowed: bool
    warnings: tuple[str, ...] = ()


@checked
def step_warning(values: npt.ArrayLike, step: float, sigma: float | None = None) -> str | None:
    """Say whether the gauge's step is too coarse for a chart of single readings.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    step : of the gauge, same unit. 0 means no step.
    sigma : spread of the process, same unit; estimated from the mean moving range less the rounding when
        absent.

    Returns
    -------
    str or None : a sentence when the step is larger than the spread (the range chart then shows at most four
        different values inside its limits), else None. None too when one reading can't tell.

    Raises
    ------
    StatisticsError : see `series.read_values`; a negative step or spread.

    Source: common practice, no single source; that four or fewer possible ranges distort limits is the
    usual rule.
    """
    array = read_values(values)
    read_number(step, "step", at_least=0)
    if step == 0:
        return None
    if sigma is None:
        if array.size < 2:
            return None
        # Over all positions of the grid, rounding leaves the mean moving range as it was: no correction is
        # due.
        sigma = float(np.abs(np.diff(array)).mean()) / d2(2)
    else:
        read_number(sigma, "sigma", at_least=0)
    # A little slack, because a spread worked out from decimals such as 0.1 is seldom exactly one step.
    if step <= sigma * (1 + 1e-9):
        return None
    if sigma == 0:
        return f"too coarse to chart: a step of {step:g} hides all of the spread (n = {array.size})"
    return f"too coarse to chart: a step of {step:g} against a spread of {sigma:.3g} (n = {array.size})"


@checked
def correct_spread(values: npt.ArrayLike, step: float, *, ddof: int = 1) -> CorrectedSpread:
    """Take the rounding out of a standard deviation: s squared less step squared over 12 (Sheppard).

    Allowed for a smooth, roughly bell-shaped spread of at least half a step; not for even spreads or for
    final readings that were forced to a target.

    Parameters
    ----------
    values : one-dimensional, rounded to `step`, any unit, two or more.
    step : of the gauge, same unit, above 0.
    ddof : 1 divides the sum of squares by n - 1, 0 by n.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`.

    Source: Sheppard 1898; conditions as in any text on grouped data.
    """
    array = read_values(values, minimum=2)
    read_number(step, "step", above=0)
    squares = sum_of_squares(array)
    raw = sqrt(squares / (array.size - ddof))
    corrected = sqrt(max(0.0, raw**2 - step**2 / 12))
    notes: list[str] = []
    if corrected < step / 2:
        notes.append("not corrected: the spread is less than half a step; use the likelihood on intervals")
    z = (array - array.mean()) / raw if raw > 0 else array
    if array.size >= 8 and raw > 0 and float(np.mean(z**4)) < 2.1:
        notes.append("not corrected: the readings are spread evenly or in two heaps, not like a bell")
    allowed = not notes
    sd = corrected if allowed else raw
    return CorrectedSpread(int(array.size), sd, raw, corrected, float(step), allowed, tuple(notes))


@checked
def keep_information(sd: float, step: float) -> float:
    """Share of what exact readings would say about a mean that rounded ones still say: sd^2 / (sd^2 +
    step^2/12).

    About a spread it is the square of this. `sd` (rounding taken out) and `step` in one unit.
    """
    return sd**2 / (sd**2 + step**2 / 12) if step > 0 else 1.0


@checked
def bracket(values: npt.ArrayLike, step: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """The interval each rounded reading stands for: reading -/+ half a step, same unit.

    Raises
    ------
    StatisticsError : see `series.read_values`; step of 0 or less.
    """
    array = read_values(values)
    half = read_number(step, "step", above=0) / 2
    return array - half, array + half


@checked
def midpoints(lower: npt.ArrayLike, upper: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Mid-points of brackets, for drawing only: no statistic should use them.

    Raises
    ------
    StatisticsError : see `series.read_values`; unequal lengths.
    """
    low, high = read_values(lower, "lower"), read_values(upper, "upper", minimum=len(np.atleast_1d(lower)))
    return low + (high[: low.size] - low) / 2
