"""A normal fitted to readings that are intervals: feeler brackets, rounded values, or open ends.

The log-likelihood is concave in (mean/spread, 1/spread), so Newton's method finds the one maximum, and
fixing the mean or the spread leaves a concave problem in one number for the profile intervals.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt

import numpy as np
import numpy.typing as npt

from qclog.domain.checking import LARGEST
from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate, estimate_normal
from qclog.stats.base.series import Floats, read_probability
from qclog.stats.rounded.interval_likelihood import IntervalLikelihood

_METHOD = "profile likelihood, scaled to be exact for exact readings"


@dataclass(frozen=True, slots=True)
class IntervalFit:
    """Normal mean and standard deviation (maximum likelihood, so with n) in the unit of the readings.

    `sd_unbiased` is sd sqrt(n/(n-1)), to set beside a standard deviation of exact readings. `sd.value` is 0
    when one point lies in, or on the edge of, all intervals; then `sd.upper` is what is known of the spread.
    """

    n: int
    mean: Estimate
    sd: Estimate
    sd_unbiased: float
    log_likelihood: float
    warnings: tuple[str, ...] = ()


@checked
def fit_normal(
    lower: npt.ArrayLike, upper: npt.ArrayLike, *, confidence: float = 0.95, intervals: bool = True
) -> IntervalFit:
    """Fit a normal to intervals by maximum likelihood.

    Parameters
    ----------
    lower, upper : one-dimensional, one unit; equal for an exact reading, infinite for an open end.
    confidence : of each two-sided interval.
    intervals : False leaves the intervals NaN, which is several times quicker.

    Returns
    -------
    IntervalFit

    Raises
    ------
    TooFewError : fewer than 2, or nothing that bounds the spread.
    StatisticsError : NaN, unequal lengths, or an upper end below its lower.

    Source: definition of the likelihood for grouped and censored readings; the critical values are those that
    make the interval Student's t or chi-square when every reading is exact.
    """
    low, high = read_intervals(lower, upper)
    level = read_probability(confidence)
    if low.size < 2:
        raise TooFewError("two readings or more are needed", field="lower", found=int(low.size))
    if bool((low == high).all()):
        return _fit_exact(low, level)
    if not bool(np.isfinite(high - low).any()):
        raise TooFewError(
            "every reading is open on one side, so the spread can't be told",
            field="upper",
            hint="readings with both ends are needed",
        )
    model = IntervalLikelihood(low, high)
    if low.max() <= high.min():
        return _fit_without_spread(model, low, high, level, intervals)
    alpha, beta, top = model.maximise()
    n = int(low.size)
    mean, sd = model.shift + model.scale * alpha / beta, model.scale / beta
    notes = []
    if np.unique(np.stack([low, high]), axis=1).shape[1] == 2:
        notes.append("only two different readings: the spread is a rough guess")
    mean_ends = sd_ends = (float("nan"), float("nan"))
    if intervals:
        mean_ends = _mean_ends(model, alpha / beta, 1 / beta, top, n=n, level=level)
        sd_ends = _sd_ends(model, alpha / beta, beta, top, n=n, level=level)
    return IntervalFit(
        n,
        Estimate(mean, *mean_ends, level, _METHOD),
        Estimate(sd, *sd_ends, level, _METHOD),
        sd * sqrt(n / (n - 1)),
        top + model.jacobian,
        tuple(notes),
    )


@checked
def read_intervals(lower: npt.ArrayLike, upper: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Check brackets and give them as two float arrays; infinite ends are open.

    Raises
    ------
    StatisticsError : not numbers, NaN, unequal lengths, reversed ends, or open on both sides.
    """
    try:
        low, high = np.asarray(lower, dtype=np.float64), np.asarray(upper, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise StatisticsError("brackets must be numbers", field="lower, upper") from error
    if low.ndim != 1 or low.shape != high.shape:
        raise StatisticsError(
            "lower and upper must be two lists of one length",
            field="lower, upper",
            found=f"{low.shape} and {high.shape}",
        )
    wrong = np.isnan(low) | np.isnan(high) | (low > high) | (np.isinf(low) & np.isinf(high))
    wrong |= (np.abs(np.where(np.isinf(low), 0, low)) > LARGEST) | (low == np.inf) | (high == -np.inf)
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        raise StatisticsError(
            f"{int(wrong.sum())} brackets can't be used, the first at place {at + 1}",
            field="lower, upper",
            found=f"{low[at]} to {high[at]}",
            hint="the lower end comes first, and at least one end is a number",
        )
    return low, high


def _fit_exact(values: Floats, level: float) -> IntervalFit:
    exact = estimate_normal(values, confidence=level)
    n = exact.n
    shrink = sqrt((n - 1) / n)
    sd = exact.sd.value * shrink
    top = -n / 2 * (1 + log(2 * np.pi * sd * sd)) if sd > 0 else float("inf")
    return IntervalFit(
        n,
        exact.mean,
        Estimate(sd, exact.sd.lower, exact.sd.upper, level, exact.sd.method),
        exact.sd.value,
        top,
        exact.warnings,
    )


def _fit_without_spread(
    model: IntervalLikelihood, low: Floats, high: Floats, level: float, intervals: bool
) -> IntervalFit:
    """One value lies in all intervals, or where they meet: any spread from 0 up to some size will do."""
    from scipy import optimize

    n = int(low.size)
    left, right = float(low.max()), float(high.min())
    if not np.isfinite(left) or not np.isfinite(right):
        raise TooFewError(
            "nothing bounds the readings on one side", field="lower, upper", hint="wait for more readings"
        )
    # Readings on both sides of one edge: the closer the spread to 0, the nearer this likelihood.
    split = (int((high == left).sum()), int((low == right).sum())) if left == right else (0, 0)
    top = float(sum(k * log(k / sum(split)) for k in split if k))
    if bool((low == high).any()):
        # An exact reading inside all others: the likelihood has no bound as the spread goes to 0.
        top = float("inf")
    edges = (left - model.shift) / model.scale, (right - model.shift) / model.scale
    mean_ends, sd_ends = (float("nan"), float("nan")), (float("nan"), float("nan"))
    if intervals and bool((low < high).all()):
        floor = top - _mean_cut(n, level) / 2
        ends = [_mean_end_beyond(model, edge, way, floor) for edge, way in zip(edges, (-1.0, 1.0), strict=True)]
        mean_ends = (model.shift + model.scale * ends[0], model.shift + model.scale * ends[1])
        floor = top - _sd_cut(n, (1 - level) / 2) / 2
        middle, wide = sum(edges) / 2, 1.0
        while model.best_for_spread(wide, middle) > floor:
            wide /= 2
        narrow = wide
        while model.best_for_spread(narrow, middle) < floor:
            narrow *= 2
        beta = optimize.brentq(lambda t: model.best_for_spread(t, middle) - floor, wide, narrow, xtol=1e-10)
        sd_ends = (0.0, model.scale / float(beta))
    return IntervalFit(
        n,
        Estimate(left + (right - left) / 2, *mean_ends, level, _METHOD),
        Estimate(0.0, *sd_ends, level, _METHOD),
        0.0,
        top,
        ("all readings agree within their steps, so the spread may be 0",),
    )


def _mean_end_beyond(model: IntervalLikelihood, edge: float, way: float, floor: float) -> float:
    """Where, beyond the edge that all readings share, the profile for the mean falls to `floor`."""
    from scipy import optimize

    near = edge + way * 1e-9
    if model.best_for_mean(near) <= floor:
        return edge
    reach = 1.0
    while model.best_for_mean(edge + way * reach) > floor:
        reach *= 2
    inner, outer = sorted((near, edge + way * reach))
    return float(optimize.brentq(lambda m: model.best_for_mean(m) - floor, inner, outer, xtol=1e-8))


def _mean_cut(n: int, level: float) -> float:
    """Twice the log-likelihood drop at which the profile for the mean is Student's interval."""
    from scipy import special

    t = float(special.stdtrit(n - 1, (1 + level) / 2))
    return n * log(1 + t * t / (n - 1))


def _sd_cut(n: int, share: float) -> float:
    """Twice the log-likelihood drop at the spread whose chi-square quantile is `share`."""
    from scipy import special

    q = float(special.chdtri(n - 1, 1 - share))
    return q - n - n * log(q / n)


def _mean_ends(
    model: IntervalLikelihood, mean: float, sd: float, top: float, *, n: int, level: float
) -> tuple[float, float]:
    from scipy import optimize

    cut = _mean_cut(n, level) / 2
    ends = []
    for way in (-1.0, 1.0):
        reach = sd * sqrt(2 * cut / n) * 1.5
        while model.best_for_mean(mean + way * reach) > top - cut:
            reach *= 1.7
        inner, outer = sorted((mean, mean + way * reach))
        ends.append(
            float(
                optimize.brentq(lambda m: model.best_for_mean(m) - (top - cut), inner, outer, xtol=1e-7 * sd, rtol=1e-7)
            )
        )
    return model.shift + model.scale * ends[0], model.shift + model.scale * ends[1]


def _sd_ends(
    model: IntervalLikelihood, mean: float, beta: float, top: float, *, n: int, level: float
) -> tuple[float, float]:
    from scipy import optimize

    ends = []
    for share, grow in (((1 + level) / 2, 1.5), ((1 - level) / 2, 1 / 1.5)):
        target = top - _sd_cut(n, share) / 2
        edge = beta * grow
        for _ in range(80):
            if model.best_for_spread(edge, mean) <= target:
                break
            edge *= grow
        else:
            # Steps so coarse that no spread is too small.
            ends.append(0.0 if grow > 1 else float("inf"))
            continue
        inner, outer = sorted((beta, edge))
        root = optimize.brentq(
            lambda b, t=target: model.best_for_spread(b, mean) - t, inner, outer, xtol=1e-8 * beta, rtol=1e-8
        )
        ends.append(model.scale / float(root))
    return ends[0], ends[1]
