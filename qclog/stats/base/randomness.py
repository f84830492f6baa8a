"""Is the order of a series like chance? Runs about the median, and a straight trend."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import centre_and_deviations, read_probability, read_values


@dataclass(frozen=True, slots=True)
class RunsTest:
    """Number of runs above and below the median against what chance gives. Few: drift; many: zigzag."""

    n: int
    runs: int
    expected: float
    sd: float
    statistic: float
    p_value: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trend:
    """Least-squares line: `slope` per step of the first variable, in the unit of the second over the first."""

    n: int
    slope: Estimate
    intercept: Estimate
    residual_sd: float
    statistic: float
    p_value: float
    warnings: tuple[str, ...] = ()


@checked
def count_runs(values: npt.ArrayLike) -> RunsTest:
    """Runs test about the median, normal approximation without continuity correction.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, two or more; a reading on the median counts as above.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`; all on one side of the median.

    Source: NIST e-Handbook 1.3.5.13; Bradley 1968.
    """
    array = read_values(values, minimum=2)
    above = array >= np.median(array)
    n1 = int(above.sum())
    n = int(array.size)
    n2 = n - n1
    if n2 == 0:
        raise StatisticsError("nothing lies below the median", field="values", hint="the readings are too alike")
    runs = 1 + int((above[1:] != above[:-1]).sum())
    expected = 1 + 2 * n1 * n2 / n
    sd = sqrt(2 * n1 * n2 * (2 * n1 * n2 - n) / (n**2 * (n - 1)))
    z = (runs - expected) / sd if sd > 0 else 0.0
    notes = ("fewer than 10 on a side: the p-value is rough",) if min(n1, n2) < 10 else ()
    return RunsTest(n, runs, expected, sd, z, 2 * float(special.ndtr(-abs(z))), notes)


@checked
def fit_trend(values: npt.ArrayLike, places: npt.ArrayLike | None = None, *, confidence: float = 0.95) -> Trend:
    """Straight line through a series by least squares.

    Parameters
    ----------
    values : one-dimensional, any unit, three or more.
    places : where each was taken (time, order, reference); 1, 2, 3 ... by default.
    confidence : of the intervals for slope and intercept.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; unequal lengths; one place only.
    """
    y = read_values(values, minimum=3)
    x = np.arange(1.0, y.size + 1) if places is None else read_values(places, "places", minimum=3)
    if x.size != y.size:
        raise StatisticsError("places and values differ in length", field="places", found=int(x.size))
    level = read_probability(confidence)
    n = int(y.size)
    mean_x, dx = centre_and_deviations(x)
    mean_y, dy = centre_and_deviations(y)
    sxx = float(dx @ dx)
    if sxx == 0:
        raise StatisticsError("all were taken at one place", field="places", found=mean_x)
    slope = float(dx @ dy) / sxx
    residual = dy - slope * dx
    sd = sqrt(float(residual @ residual) / (n - 2))
    t = float(special.stdtrit(n - 2, (1 + level) / 2))
    error = sd / sqrt(sxx)
    at_zero = mean_y - slope * mean_x
    error_zero = sd * sqrt(1 / n + mean_x**2 / sxx)
    statistic = slope / error if error > 0 else float(np.copysign(np.inf, slope)) if slope else 0.0
    p = 2 * float(special.stdtr(n - 2, -abs(statistic)))
    return Trend(
        n,
        Estimate(slope, slope - t * error, slope + t * error, level, "Student's t"),
        Estimate(at_zero, at_zero - t * error_zero, at_zero + t * error_zero, level, "Student's t"),
        sd,
        statistic,
        p,
    )
