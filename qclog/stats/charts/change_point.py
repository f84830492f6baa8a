"""When did the mean change? One change, by likelihood, with the places not ruled out; also by ranks."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes
from qclog.stats.base.series import Floats, centre_and_deviations, read_probability, read_values

_PLACES = 150


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """The best single split: `after` readings come before the change (so it lies at place `after`, from 0).

    Means and `sd` (pooled within the two stretches) in the unit of the readings; `statistic` is Student's
    t of the split; `p_value` allows for having tried every place (an upper bound, close when small);
    `candidates` are the values of `after` that the data can't rule out at `confidence`.
    """

    n: int
    after: int
    mean_before: float
    mean_after: float
    sd: float
    residual_squares: float
    total_squares: float
    statistic: float
    p_value: float
    candidates: tuple[int, ...]
    confidence: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RankChange:
    """Pettitt's statistic: the largest rank imbalance, the place it falls, and its approximate p-value."""

    n: int
    after: int
    statistic: float
    p_value: float
    warnings: tuple[str, ...] = ()


@checked
def find_change(values: npt.ArrayLike, *, confidence: float = 0.95) -> ChangePoint:
    """Find the most likely place of one change in the mean, the spread staying the same.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, four or more.
    confidence : that the candidates hold the true place, given that there was a change.

    Raises
    ------
    TooFewError : fewer than 4. StatisticsError : see `series.read_values`.

    Source: the candidates by likelihood ratio, Hinkley, Biometrika 57 (1970) 1-17 (two maxima of a falling
    walk on either side); the p-value by the improved Bonferroni bound of Worsley, Biometrika 69 (1982).
    """
    array = read_values(values, minimum=4)
    level = read_probability(confidence)
    rough, d = centre_and_deviations(array)
    n = int(array.size)
    total = float(d @ d)
    before = np.arange(1, n)
    sums = np.cumsum(d)[:-1]
    gain = sums**2 * n / (before * (n - before))
    best = int(np.argmax(gain)) + 1
    first, second = float(d[:best].mean()), float(d[best:].mean())
    residual = float(((d[:best] - first) ** 2).sum() + ((d[best:] - second) ** 2).sum())
    notes = []
    if total == 0:
        notes.append("all readings are equal")
        return ChangePoint(n, best, rough, rough, 0.0, 0.0, 0.0, 0.0, 1.0, tuple(before.tolist()), level, tuple(notes))
    sd = sqrt(residual / (n - 2))
    if residual <= 1e-24 * total:
        notes.append("no spread inside the two stretches, so the place is beyond doubt")
        candidates: tuple[int, ...] = (best,)
        t_value, p_value = float(np.copysign(np.inf, second - first)), 0.0
    else:
        # The place itself was fitted too, which costs the spread about one more degree of freedom.
        freedom = max(1, n - 3)
        short = (gain.max() - gain) / (2 * residual / freedom)
        candidates = tuple((np.flatnonzero(short <= _critical(level, freedom)) + 1).tolist())
        t_value = (second - first) / (sd * sqrt(1 / best + 1 / (n - best)))
        p_value = _p_value(float(gain.max()) / total, n)
    if p_value > 1 - level:
        notes.append("no clear change: the split may be chance, and so may its place")
    return ChangePoint(
        n=n,
        after=best,
        mean_before=rough + first,
        mean_after=rough + second,
        sd=sd,
        residual_squares=residual,
        total_squares=total,
        statistic=float(t_value),
        p_value=p_value,
        candidates=candidates,
        confidence=level,
        warnings=tuple(notes),
    )


@checked
def find_rank_change(values: npt.ArrayLike) -> RankChange:
    """Find a change of level by ranks, which wild readings do not pull.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, two or more.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`.

    Source: Pettitt, Applied Statistics 28(2) 1979, 126-135; p = 2 exp(-6 K^2 / (n^3 + n^2)).
    """
    from scipy import stats

    array = read_values(values, minimum=2)
    n = int(array.size)
    ranks = stats.rankdata(array)
    imbalance = (2 * np.cumsum(ranks) - np.arange(1, n + 1) * (n + 1))[:-1]
    best = int(np.argmax(np.abs(imbalance)))
    statistic = float(abs(imbalance[best]))
    p_value = min(1.0, 2 * exp(-6 * statistic**2 / (n**3 + n**2)))
    notes = ("too few for the approximate p-value",) if n < 10 else ()
    return RankChange(n, best + 1, statistic, p_value, notes)


def _critical(level: float, freedom: int) -> float:
    """How much log-likelihood a candidate may lack.

    On either side of the true place the log-likelihood falls short by the maximum of a walk that is at most
    exponential; both maxima stay under x with chance (1 - e^-x)^2. Averaged over the chi-square of the
    estimated spread.
    """
    from scipy import optimize

    def miss(x: float) -> float:
        once = (1 + 2 * x / freedom) ** (-freedom / 2)
        twice = (1 + 4 * x / freedom) ** (-freedom / 2)
        return float(1 - 2 * once + twice - level)

    high = 10.0
    while miss(high) < 0:
        high *= 4
    return float(optimize.brentq(miss, 0.0, high))


def _p_value(share: float, n: int) -> float:
    """Chance that some split takes at least `share` of the total squares when nothing changed.

    The standardised split sums are projections of a point spread evenly over a sphere in n - 1 dimensions;
    each place's own chance is added, and the chance that neighbours pass together is taken off.
    """
    if share >= 1:
        return 0.0
    dims = n - 1
    single = (n - 1) * float(special.betaincc(0.5, (dims - 1) / 2, share))
    every = np.arange(1, n - 1)
    # The chance changes smoothly with the place, so a long series needs it worked out at some places only.
    half = np.unique(np.round(np.geomspace(1, max(1, (n - 1) // 2), _PLACES)).astype(np.int64))
    place = every if n < 2 * _PLACES else np.unique(np.concatenate([half, n - 1 - half]))
    likeness = np.sqrt(place * (n - place - 1) / ((place + 1) * (n - place)))
    both = sum(_joint(share, np.arccos(c), dims) for c in (likeness, -likeness))
    together = float(np.interp(every, place, both).sum())
    return float(min(1.0, max(0.0, single - together)))


def _joint(share: float, angle: Floats, dims: int) -> Floats:
    """Chance that two directions `angle` apart both take more than `share`, on the same signs."""
    edge = np.arccos(sqrt(share))
    low = angle / 2
    node, weight = legendre_nodes(60)
    width = np.maximum(0.0, edge - low)
    theta = low[:, None] + width[:, None] * (node + 1) / 2
    inside = np.maximum(0.0, 1 - share / np.cos(theta) ** 2)
    power = inside ** ((dims - 2) / 2)
    return np.asarray(2 * (power @ weight) * width / 2 / np.pi, dtype=np.float64)
