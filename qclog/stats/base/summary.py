"""What a series looks like, in a few figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qclog.stats.base.gate import checked
from qclog.stats.base.series import centre_and_deviations, read_values


@dataclass(frozen=True, slots=True)
class Summary:
    """Figures of one series, in its unit. `sd` (n - 1) is None for a single reading."""

    n: int
    mean: float
    sd: float | None
    median: float
    lower_quartile: float
    upper_quartile: float
    minimum: float
    maximum: float
    warnings: tuple[str, ...] = ()


@checked
def summarise(values: npt.ArrayLike) -> Summary:
    """Describe a series.

    Parameters
    ----------
    values : one-dimensional, any unit, one reading or more.

    Returns
    -------
    Summary : quartiles by linear interpolation between readings; the standard deviation by the corrected
        two-pass rule, so that 10000000.2 with a spread of 0.1 keeps its digits.

    Raises
    ------
    StatisticsError, TooFewError : see `series.read_values`.
    """
    array = read_values(values)
    mean, deviations = centre_and_deviations(array)
    n = int(array.size)
    sd = float(np.sqrt(deviations @ deviations / (n - 1))) if n > 1 else None
    low, middle, high = (float(q) for q in np.quantile(array, [0.25, 0.5, 0.75]))
    notes = []
    if n == 1:
        notes.append("one reading shows no spread")
    elif array.min() == array.max():
        notes.append("all readings are equal")
    return Summary(n, mean, sd, middle, low, high, float(array.min()), float(array.max()), tuple(notes))


@checked
def correlate_neighbours(values: npt.ArrayLike) -> float:
    """Lag-1 autocorrelation: sum of products of neighbouring deviations over the sum of squares, unit free.

    Definition as in NIST StRD univariate statistics.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`. NaN when all are equal.
    """
    _, d = centre_and_deviations(read_values(values, minimum=2))
    total = float(d @ d)
    return float(d[1:] @ d[:-1]) / total if total > 0 else float("nan")
