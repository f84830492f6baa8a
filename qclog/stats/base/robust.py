"""Middle and spread of a series that a few wild readings do not pull."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_number, read_values

#: median absolute deviation of a unit normal, turned over
_TO_SD = 1.482602218505602
_MAX_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class RobustEstimates:
    """Huber's joint middle and spread, with the median and the scaled median deviation beside them.

    All in the unit of the readings; `sd` and `median_sd` are on the scale of a standard deviation.
    `reined_in` counts readings further than `reach` spreads from the middle, which were counted as if they
    lay there.
    """

    n: int
    mean: float
    sd: float
    median: float
    median_sd: float
    reach: float
    reined_in: int
    step: float
    warnings: tuple[str, ...] = ()


@checked
def estimate_robust(values: npt.ArrayLike, *, reach: float = 1.5, step: float = 0.0) -> RobustEstimates:
    """Middle and spread by Huber's second proposal: far readings pull no more than `reach` spreads.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more.
    reach : in spreads; 1.5 keeps 96 % of the precision for normal readings.
    step : of the gauge, same unit: equal readings are laid out over their step first, and the rounding is
        taken out of the spread, which is then never below a quarter of a step.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`; a setting out of range.

    Source: Huber, Robust Statistics (1981), proposal 2; Analytical Methods Committee, Analyst 114 (1989)
    1693.
    """
    array = read_values(values, minimum=2)
    reach = read_number(reach, "reach", above=0)
    step = read_number(step, "step", at_least=0)
    origin = float(np.median(array))
    x = _spread_over_step(array - origin, step)
    n = int(x.size)
    median = float(np.median(x))
    median_sd = _TO_SD * float(np.median(np.abs(x - median)))
    middle, spread = median, median_sd or float(np.abs(x - median).mean())
    tail = special.ndtr(-reach)
    consistent = (1 - 2 * tail) - 2 * reach * exp(-(reach**2) / 2) / sqrt(2 * pi) + 2 * reach**2 * tail
    for _ in range(_MAX_ROUNDS if spread > 0 else 0):
        held = np.clip(x, middle - reach * spread, middle + reach * spread)
        following = float(held.mean())
        width = sqrt(float(((held - following) ** 2).sum()) / (n - 1) / float(consistent))
        settled = abs(following - middle) < 1e-10 * spread and abs(width - spread) < 1e-10 * spread
        middle, spread = following, width
        if settled or spread == 0:
            break
    reined_in = int((np.abs(x - middle) > reach * spread).sum()) if spread > 0 else 0
    notes = []
    if median_sd == 0:
        notes.append("more than half of the readings are equal" + ("" if step else ": give the step of the gauge"))
    if step > 0:
        # Rounding adds step^2/12 to the variance, and laying the readings out over their steps as much again.
        spread = sqrt(max(spread**2 - step**2 / 6, step**2 / 16))
    return RobustEstimates(n, origin + middle, spread, origin + median, median_sd, reach, reined_in, step, tuple(notes))


def _spread_over_step(x: Floats, step: float) -> Floats:
    if step == 0:
        return x
    values, counts = np.unique(x, return_counts=True)
    within = np.concatenate([(np.arange(c) + 0.5) / c - 0.5 for c in counts])
    return np.asarray(np.repeat(values, counts) + step * within, dtype=np.float64)
