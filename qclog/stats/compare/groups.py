"""Do groups differ, in their middle or in their spread?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.quadrature import spread_nodes
from qclog.stats.base.series import (
    Floats,
    centre_and_deviations,
    read_groups,
    read_probability,
    read_values,
    sum_of_squares,
)


@dataclass(frozen=True, slots=True)
class OneWay:
    """One-way analysis of variance; sums and mean squares in the unit squared."""

    n: int
    groups: int
    squares_between: float
    squares_within: float
    freedom_between: int
    freedom_within: int
    mean_square_between: float
    mean_square_within: float
    statistic: float
    p_value: float
    explained: float
    residual_sd: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GroupTest:
    """A test of no difference between groups, with the critical value of its statistic at `significance`."""

    n: int
    groups: int
    method: str
    statistic: float
    freedom: tuple[int, ...]
    critical: float
    p_value: float
    significance: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """Mean of group `second` less that of `first` (places from 0), the interval allowing for all pairs at once."""

    first: int
    second: int
    difference: Estimate
    p_value: float


@checked
def compare_means(groups: Sequence[npt.ArrayLike]) -> OneWay:
    """One-way analysis of variance.

    Parameters
    ----------
    groups : two or more series, any one unit, more readings than groups in all.

    Raises
    ------
    TooFewError : one group, or no group with two readings. StatisticsError : see `series.read_values`.

    Source: NIST e-Handbook 7.4.3.4; checked against NIST StRD.
    """
    arrays = read_groups(groups)
    n, k = sum(a.size for a in arrays), len(arrays)
    if n <= k:
        raise TooFewError("no group has two readings", field="groups", found=n, hint="wait for more readings")
    # Taking off one reading is exact, and leaves small numbers to square.
    origin = float(arrays[0][0])
    shifted = [a - origin for a in arrays]
    means = np.array([centre_and_deviations(a)[0] for a in shifted])
    sizes = np.array([a.size for a in arrays])
    grand = float(sizes @ means) / n
    between = float(sizes @ (means - grand) ** 2)
    within = float(sum(sum_of_squares(a) for a in shifted))
    ms_between, ms_within = between / (k - 1), within / (n - k)
    notes = []
    if within == 0:
        notes.append("no spread inside any group")
        f = float("inf") if between > 0 else 0.0
        p = 0.0 if between > 0 else 1.0
    else:
        f = ms_between / ms_within
        p = float(special.fdtrc(k - 1, n - k, f))
    total = between + within
    return OneWay(
        n=int(n),
        groups=k,
        squares_between=between,
        squares_within=within,
        freedom_between=k - 1,
        freedom_within=int(n - k),
        mean_square_between=ms_between,
        mean_square_within=ms_within,
        statistic=f,
        p_value=p,
        explained=between / total if total > 0 else 0.0,
        residual_sd=sqrt(ms_within),
        warnings=tuple(notes),
    )


@checked
def compare_spreads(
    groups: Sequence[npt.ArrayLike],
    *,
    method: Literal["median", "mean", "trimmed", "Bartlett"] = "median",
    significance: float = 0.05,
) -> GroupTest:
    """Test whether groups have one spread.

    Parameters
    ----------
    groups : two or more series of two or more readings, any one unit.
    method : Levene's test about the median (the sturdy choice), mean or 10 % trimmed mean, or Bartlett's,
        which is sharper for normal readings and easily fooled by others.
    significance : for the critical value.

    Raises
    ------
    TooFewError : one group, or fewer than 2 in one. StatisticsError : see `series.read_values`; unknown
        method.

    Source: NIST e-Handbook 1.3.5.7 and 1.3.5.10.
    """
    from scipy import stats

    arrays = read_groups(groups, minimum_each=2)
    alpha = read_probability(significance, "significance")
    n, k = sum(a.size for a in arrays), len(arrays)
    shifted = [a - float(arrays[0][0]) for a in arrays]
    notes = []
    freedom: tuple[int, ...]
    if method == "Bartlett":
        critical, freedom = float(special.chdtri(k - 1, alpha)), (k - 1,)
        if min(sum_of_squares(a) for a in shifted) == 0:
            notes.append("a group has no spread, which this test can't take")
            return GroupTest(int(n), k, method, float("nan"), freedom, critical, float("nan"), alpha, tuple(notes))
        result = stats.bartlett(*shifted)
    elif method in ("median", "mean", "trimmed"):
        critical, freedom = float(special.fdtri(k - 1, n - k, 1 - alpha)), (k - 1, int(n - k))
        gaps = [np.abs(a - _middle(a, method)) for a in shifted]
        if sum(sum_of_squares(g) for g in gaps) <= 1e-24 * float(sum((g**2).sum() for g in gaps)):
            notes.append("no spread among the deviations: nothing to compare")
            return GroupTest(int(n), k, method, float("nan"), freedom, critical, float("nan"), alpha, tuple(notes))
        centre = {"median": "median", "mean": "mean", "trimmed": "trimmed"}[method]
        result = stats.levene(*shifted, center=centre, proportiontocut=0.1)
    else:
        raise StatisticsError("unknown method", field="method", found=method, hint="median, mean, trimmed or Bartlett")
    return GroupTest(
        int(n),
        k,
        method,
        float(result.statistic),
        freedom,
        critical,
        float(result.pvalue),
        alpha,
        tuple(notes),
    )


@checked
def compare_ranks(groups: Sequence[npt.ArrayLike], *, significance: float = 0.05) -> GroupTest:
    """Kruskal-Wallis test, corrected for ties: do groups differ in level, whatever their shape?

    Parameters
    ----------
    groups : two or more series, any one unit. significance : for the critical value.

    Raises
    ------
    TooFewError : one group. StatisticsError : see `series.read_values`.

    Source: Kruskal & Wallis, JASA 47 (1952); the p-value by chi-square.
    """
    from scipy import stats

    arrays = read_groups(groups)
    alpha = read_probability(significance, "significance")
    n, k = sum(a.size for a in arrays), len(arrays)
    critical = float(special.chdtri(k - 1, alpha))
    notes = ["fewer than 5 in a group: the p-value is rough"] if min(a.size for a in arrays) < 5 else []
    if np.ptp(np.concatenate(arrays)) == 0:
        notes.append("all readings are equal")
        return GroupTest(int(n), k, "Kruskal-Wallis", 0.0, (k - 1,), critical, 1.0, alpha, tuple(notes))
    result = stats.kruskal(*arrays)
    return GroupTest(
        int(n),
        k,
        "Kruskal-Wallis",
        float(result.statistic),
        (k - 1,),
        critical,
        float(result.pvalue),
        alpha,
        tuple(notes),
    )


@checked
def compare_pairs(
    groups: Sequence[npt.ArrayLike], *, equal_spread: bool = True, confidence: float = 0.95
) -> tuple[Difference, ...]:
    """Differences between all pairs of means, the intervals holding together with the wanted confidence.

    Parameters
    ----------
    groups : two or more series of two or more readings, any one unit.
    equal_spread : one spread for all (Tukey-Kramer), or each its own (Games-Howell).
    confidence : for all intervals at once.

    Raises
    ------
    TooFewError : one group, or fewer than 2 in one. StatisticsError : see `series.read_values`; no spread.

    Source: Tukey-Kramer 1956; Games & Howell, Journal of Educational Statistics 1 (1976).
    """
    arrays = read_groups(groups, minimum_each=2)
    level = read_probability(confidence)
    k = len(arrays)
    means = [centre_and_deviations(a)[0] for a in arrays]
    squares = [sum_of_squares(a) for a in arrays]
    if sum(squares) == 0:
        raise StatisticsError("no spread inside any group", field="groups", hint="use a finer gauge")
    freedom_all = sum(a.size for a in arrays) - k
    pooled = sum(squares) / freedom_all
    name = "Tukey-Kramer" if equal_spread else "Games-Howell"
    found = []
    for i in range(k):
        for j in range(i + 1, k):
            error, freedom = _pair_error(arrays, squares, i, j)
            if equal_spread:
                error, freedom = pooled * (1 / arrays[i].size + 1 / arrays[j].size), float(freedom_all)
            gap = means[j] - means[i]
            width = _range_quantile(level, k, freedom) * sqrt(error / 2)
            p = _range_tail(abs(gap) / sqrt(error / 2), k, freedom) if error > 0 else float(gap == 0)
            found.append(Difference(i, j, Estimate(gap, gap - width, gap + width, level, name), p))
    return tuple(found)


@checked
def adjust_p_values(p_values: npt.ArrayLike, *, false_discoveries: bool = False) -> Floats:
    """Adjust p-values for being many: Holm's step-down, or Benjamini and Hochberg's share of false
    discoveries.

    Parameters
    ----------
    p_values : one-dimensional, each from 0 to 1.

    Raises
    ------
    StatisticsError : a p-value outside 0 to 1.

    Source: Holm, Scandinavian Journal of Statistics 6 (1979); Benjamini & Hochberg, JRSS B 57 (1995).
    """
    p = read_values(p_values, "p_values", minimum=0)
    if not bool(((p >= 0) & (p <= 1)).all()):
        raise StatisticsError("p-values lie between 0 and 1", field="p_values", hint="give one list of them")
    order = np.argsort(p, kind="stable")
    n = p.size
    raised = p[order] * (n / np.arange(1, n + 1) if false_discoveries else n - np.arange(n))
    from_below = np.maximum.accumulate(raised)
    raised = np.minimum.accumulate(raised[::-1])[::-1] if false_discoveries else from_below
    result = np.empty(n)
    result[order] = np.minimum(1.0, raised)
    return result


def _middle(a: Floats, method: str) -> float:
    from scipy import stats

    if method == "median":
        return float(np.median(a))
    return float(a.mean()) if method == "mean" else float(stats.trim_mean(a, 0.1))


def _pair_error(arrays: tuple[Floats, ...], squares: list[float], i: int, j: int) -> tuple[float, float]:
    parts = [(squares[g] / (arrays[g].size - 1) / arrays[g].size, arrays[g].size - 1) for g in (i, j)]
    error = sum(v for v, _ in parts)
    down = sum(v**2 / f for v, f in parts)
    return error, error**2 / down if down > 0 else float(sum(f for _, f in parts))


@lru_cache(maxsize=512)
def _range_quantile(level: float, k: int, freedom: float) -> float:
    from scipy import optimize

    if k == 2:
        # Two groups: the studentized range is sqrt 2 times Student's t.
        return sqrt(2) * float(special.stdtrit(freedom, (1 + level) / 2))
    high = 4.0
    while _range_tail(high, k, freedom) > 1 - level:
        high *= 2
    return float(optimize.brentq(lambda q: _range_tail(q, k, freedom) - (1 - level), 0.0, high, xtol=1e-9))


def _range_tail(q: float, k: int, freedom: float) -> float:
    """Chance that the studentized range passes `q`; SciPy's takes a hundred times as long."""
    if k == 2:
        return 2 * float(special.stdtr(freedom, -q / sqrt(2)))
    ratio, weight = spread_nodes(freedom, 64)
    x = np.arange(-8.5, 8.5, 0.25)
    width = q * ratio[:, None]
    inside = special.ndtr(x) - special.ndtr(x - width)
    below = k * 0.25 * (inside ** (k - 1) @ (np.exp(-(x**2) / 2) / sqrt(2 * np.pi)))
    return float(np.clip(weight @ (1 - below), 0.0, 1.0))
