"""Percentiles and limits from ordered readings alone, for when no shape fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import read_probability, read_values


@dataclass(frozen=True, slots=True)
class PercentileLimits:
    """Limits between which the next reading of an unchanged process falls with probability 1 - `false_alarm`.

    `reached` is the false-alarm probability that the ordered readings can really give.
    """

    n: int
    lower: float
    upper: float
    false_alarm: float
    reached: float
    warnings: tuple[str, ...] = ()


@checked
def estimate_percentile(values: npt.ArrayLike, share: float, *, confidence: float = 0.95) -> Estimate:
    """A percentile with an interval that holds whatever the shape.

    Parameters
    ----------
    values : one-dimensional, any unit, one or more.
    share : at or below the percentile, between 0 and 1.
    confidence : at least this much; an end is infinite where too few readings lie beyond.

    Raises
    ------
    StatisticsError : see `series.read_values`; a share outside 0 to 1.

    Source: order statistics and the binomial; ISO 16269-7 for the median.
    """
    from scipy import stats

    array = np.sort(read_values(values))
    share, level = read_probability(share, "share"), read_probability(confidence)
    n = int(array.size)
    tail = (1 - level) / 2
    # The rank of the true percentile is binomial; ranks run from 1.
    low = int(stats.binom.ppf(tail, n, share))
    high = int(stats.binom.ppf(1 - tail, n, share)) + 1
    return Estimate(
        float(np.quantile(array, share, method="median_unbiased")),
        float(array[low - 1]) if low >= 1 else float("-inf"),
        float(array[high - 1]) if high <= n else float("inf"),
        level,
        "order statistics",
    )


@checked
def limit_by_percentiles(values: npt.ArrayLike, *, false_alarm: float = 0.0027) -> PercentileLimits:
    """Limits for the next reading whatever the shape: between ordered readings, at ranks (n + 1) times the
    tails.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more.
    false_alarm : wanted, both sides together. With fewer than 2/`false_alarm` - 1 readings (740 for
        0.0027) the smallest and largest are the limits and the result says what they reach.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`.
    """
    array = np.sort(read_values(values, minimum=2))
    alpha = read_probability(false_alarm, "false_alarm")
    n = int(array.size)
    rank = alpha / 2 * (n + 1)
    notes = []
    if rank < 1:
        notes.append(f"too few for that: the extremes of {n} readings are passed by {2 / (n + 1):.2g} by chance")
    rank = max(rank, 1.0)
    places = np.array([rank - 1, n - rank])
    lower, upper = np.interp(places, np.arange(n), array)
    return PercentileLimits(n, float(lower), float(upper), alpha, 2 * rank / (n + 1), tuple(notes))


@checked
def shape_free_confidence(n: int, coverage: float) -> float:
    """Confidence that smallest and largest of `n` readings enclose at least `coverage` of all.

    Raises
    ------
    StatisticsError : n below 2, coverage outside 0 to 1.

    Source: ISO 16269-6, distribution-free intervals: 1 - n p^(n-1) + (n-1) p^n.
    """
    if n < 2:
        raise StatisticsError("two readings or more are needed", field="n", found=n)
    return float(special.betainc(n - 1, 2, 1.0) - special.betainc(n - 1, 2, read_probability(coverage, "coverage")))
