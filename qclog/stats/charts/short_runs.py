"""Charts that need no baseline: each reading judged by those before it, on the scale of a unit normal."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_number, read_values
from qclog.stats.charts import cusum


@dataclass(frozen=True, slots=True, eq=False)
class SelfStarting:
    """Independent unit-normal scores of an unchanged process, one for each reading.

    A score is NaN where nothing can be said yet: the first readings, or as long as all before were equal.
    """

    n: int
    mean: float | None
    sigma: float | None
    scores: Floats
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class SelfStartingCusum:
    """Upper and lower sums of self-starting scores, in spreads; `signals` are places from 0."""

    n: int
    allowance: float
    limit: float
    scores: Floats
    upper: Floats
    lower: Floats
    signals: tuple[int, ...]
    warnings: tuple[str, ...] = ()


@checked
def score(values: npt.ArrayLike, *, mean: float | None = None, sigma: float | None = None) -> SelfStarting:
    """Turn each reading into a normal score, given only the readings before it.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    mean, sigma : where known beforehand, same unit; None where not.

    Returns
    -------
    SelfStarting : scores that begin at the third reading when neither is known, at the second when one is, at
        the first when both are.

    Raises
    ------
    StatisticsError : see `series.read_values`; `sigma` of 0 or less.

    Source: Quesenberry, Journal of Quality Technology 23(3) 1991, 213-224, all four cases.
    """
    array = read_values(values)
    known_mean = None if mean is None else read_number(mean, "mean")
    known_sigma = None if sigma is None else read_number(sigma, "sigma", above=0)
    scores = np.full(array.size, np.nan)
    centres, squares = _running(array, known_mean)
    before = np.arange(array.size, dtype=np.float64)
    inflation = np.ones(array.size) if known_mean is not None else np.sqrt(before / (before + 1))
    gap = (array - centres) * inflation
    stuck = False
    if known_sigma is not None:
        first = 0 if known_mean is not None else 1
        scores[first:] = gap[first:] / known_sigma
    else:
        first = 1 if known_mean is not None else 2
        freedom = before[first:] - (0 if known_mean is not None else 1)
        spread = np.sqrt(squares[first:] / freedom) if freedom.size else freedom
        usable = spread > 0
        stuck = not bool(usable.all())
        scores[first:][usable] = normal_score_of_t(gap[first:][usable] / spread[usable], freedom[usable])
    notes = []
    if array.size <= first:
        notes.append(f"too few to say: the first score comes with reading {first + 1}")
    if stuck:
        notes.append("no score while all readings before were equal")
    return SelfStarting(int(array.size), known_mean, known_sigma, scores, tuple(notes))


@checked
def score_cusum(
    values: npt.ArrayLike,
    *,
    mean: float | None = None,
    sigma: float | None = None,
    allowance: float = 0.5,
    limit: float | None = None,
) -> SelfStartingCusum:
    """Sum up self-starting scores, upward and downward; readings without a score leave the sums as they are.

    Parameters
    ----------
    values, mean, sigma : as in `score`.
    allowance, limit : as in `cusum.chart`, in spreads.

    Raises
    ------
    StatisticsError : see `score`; a setting out of range.

    Source: Hawkins, The Statistician 36 (1987) 299-315.
    """
    scored = score(values, mean=mean, sigma=sigma)
    allowance = read_number(allowance, "allowance", at_least=0)
    limit = cusum.choose_limit(allowance, 370.398) if limit is None else read_number(limit, "limit", above=0)
    blank = np.isnan(scored.scores)
    upper = cusum.accumulate(np.where(blank, 0.0, scored.scores - allowance))
    lower = cusum.accumulate(np.where(blank, 0.0, -scored.scores - allowance))
    outside = np.flatnonzero((upper > limit) | (lower > limit))
    return SelfStartingCusum(
        n=scored.n,
        allowance=allowance,
        limit=limit,
        scores=scored.scores,
        upper=upper,
        lower=lower,
        signals=tuple(outside.tolist()),
        warnings=scored.warnings,
    )


def normal_score_of_t(t: Floats, freedom: Floats) -> Floats:
    """The unit-normal score with the same tail as Student's t, also where the tail is below 1e-300."""
    size = np.abs(t)
    tail = special.stdtr(freedom, -size)
    log_x = -np.logaddexp(0, 2 * np.log(np.maximum(size, 1e-300)) - np.log(freedom))  # x = 1 / (1 + t² / freedom)
    far = freedom / 2 * log_x - np.log(freedom) - special.betaln(freedom / 2, 0.5)
    log_tail = np.where(tail > 1e-290, np.log(np.maximum(tail, 1e-300)), far)
    return np.asarray(-np.sign(t) * special.ndtri_exp(log_tail), dtype=np.float64)


def _running(array: Floats, known_mean: float | None) -> tuple[Floats, Floats]:
    """For each reading, mean and sum of squares of those before it (about `known_mean` where given)."""
    centres, squares = np.zeros(array.size), np.zeros(array.size)
    if known_mean is not None:
        gaps = (array - known_mean) ** 2
        squares[1:] = np.cumsum(gaps)[:-1]
        centres[:] = known_mean
        return centres, squares
    centre, total = 0.0, 0.0
    # One reading at a time, so that a tight start before a far jump keeps its digits.
    for place, value in enumerate(array.tolist()):
        centres[place], squares[place] = centre, total
        gap = value - centre
        centre += gap / (place + 1)
        total += gap * (value - centre)
    return centres, squares


@checked
def warming_factor(n: int) -> float:
    """sqrt(n / (n - 1)): what deviations from a mean of `n` are short of, on average."""
    return sqrt(n / (n - 1))
