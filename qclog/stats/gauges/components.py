"""Variance components: how much of the spread lies between groups, between their parts, and inside."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import Floats, centre_and_deviations, read_probability, read_values
from qclog.stats.gauges.mean_squares import combine_mean_squares


@dataclass(frozen=True, slots=True)
class Level:
    """One level of nesting: its sum and mean square, and its variance (unit squared) with an interval.

    `raw` is the variance before a negative one is set to 0; `share` is of the total.
    """

    name: str
    freedom: int
    squares: float
    mean_square: float
    variance: Estimate
    raw: float
    share: float


@dataclass(frozen=True, slots=True)
class Components:
    """Nested variance components, outermost level first, readings last. `total` is their sum, unit squared."""

    n: int
    levels: tuple[Level, ...]
    total: float
    balanced: bool
    confidence: float
    warnings: tuple[str, ...] = ()


@checked
def split_variance(
    values: npt.ArrayLike,
    labels: Sequence[Sequence[Hashable]],
    names: Sequence[str] | None = None,
    *,
    confidence: float = 0.95,
) -> Components:
    """Nested variance components by analysis of variance, of any depth, balanced or not.

    Parameters
    ----------
    values : one-dimensional, any unit.
    labels : one sequence of labels for each level, outermost first, each as long as `values`; inner labels
        need only be unique inside their outer group. One level is the ordinary one-way layout.
    names : of the levels, for the result.
    confidence : of the intervals, close when balanced, rough when not.

    Raises
    ------
    TooFewError : a level with nothing to compare. StatisticsError : see `series.read_values`; unequal
        lengths.

    Source: NIST e-Handbook 7.4.4; expected mean squares from the group sizes (Searle, Linear Models, 1971).
    """
    array = read_values(values, minimum=3)
    level = read_probability(confidence)
    n = int(array.size)
    if not labels or any(len(one) != n for one in labels):
        raise StatisticsError("each level needs one label for each value", field="labels", found=len(labels))
    names = tuple(names) if names is not None else tuple(f"level {i + 1}" for i in range(len(labels)))
    if len(names) != len(labels):
        raise StatisticsError("one name for each level", field="names", found=len(names))
    codes = _nest(labels)
    _, d = centre_and_deviations(array)
    explained, ranks = [0.0], [1]
    for code in codes:
        sums, sizes = np.bincount(code, weights=d), np.bincount(code)
        explained.append(float((sums**2 / sizes).sum()))
        ranks.append(sizes.size)
    squares = [*np.diff(explained).tolist(), _inside(d, codes[-1])]
    freedoms = [*np.diff(ranks).tolist(), n - ranks[-1]]
    for name, f in zip((*names, "readings"), freedoms, strict=True):
        if f < 1:
            raise TooFewError(f"nothing to compare at {name}", field="labels", found=f, hint="more groups or repeats")
    expected = _expected(codes, n)
    mean_squares = [s / f for s, f in zip(squares, freedoms, strict=True)]
    inverse = np.linalg.inv(expected / np.array(freedoms)[:, None])
    levels, notes, raws = [], [], []
    for i, name in enumerate((*names, "readings")):
        estimate = combine_mean_squares(inverse[i].tolist(), mean_squares, freedoms, level)
        raws.append(estimate.value)
        if estimate.value < 0:
            notes.append(f"{name}: negative variance set to 0")
        clipped = Estimate(
            max(0.0, estimate.value), max(0.0, estimate.lower), max(0.0, estimate.upper), level, estimate.method
        )
        levels.append((name, freedoms[i], squares[i], mean_squares[i], clipped))
    total = sum(v[4].value for v in levels)
    balanced = all(np.unique(np.bincount(code)).size == 1 for code in codes)
    if not balanced:
        notes.append("unequal group sizes: the intervals are rough")
    return Components(
        n,
        tuple(
            Level(*v, raw=raw, share=v[4].value / total if total > 0 else 0.0)
            for v, raw in zip(levels, raws, strict=True)
        ),
        float(total),
        balanced,
        level,
        tuple(notes),
    )


@checked
def pool_sd(sds: npt.ArrayLike, freedoms: npt.ArrayLike) -> tuple[float, float]:
    """Pooled standard deviation and its degrees of freedom: root of the mean variance, weighted by freedom.

    Parameters
    ----------
    sds : one-dimensional, any one unit. freedoms : as many, 0 or more, not all 0.

    Raises
    ------
    StatisticsError : unequal lengths, negative entries, or no freedom at all.
    """
    s, f = read_values(sds, "sds"), read_values(freedoms, "freedoms")
    if s.size != f.size or bool((s < 0).any()) or bool((f < 0).any()) or f.sum() == 0:
        raise StatisticsError("spreads and freedoms don't fit", field="sds, freedoms", found=f"{s.size}, {f.size}")
    return sqrt(float(f @ s**2 / f.sum())), float(f.sum())


def _nest(labels: Sequence[Sequence[Hashable]]) -> list[npt.NDArray[np.intp]]:
    codes: list[npt.NDArray[np.intp]] = []
    outer: list[int] = [0] * len(labels[0])
    for one in labels:
        seen: dict[tuple[int, Hashable], int] = {}
        outer = [seen.setdefault((o, label), len(seen)) for o, label in zip(outer, one, strict=True)]
        codes.append(np.array(outer, dtype=np.intp))
    return codes


def _inside(d: Floats, code: npt.NDArray[np.intp]) -> float:
    means = np.bincount(code, weights=d) / np.bincount(code)
    rest = d - means[code]
    return float(rest @ rest)


def _expected(codes: list[npt.NDArray[np.intp]], n: int) -> Floats:
    """What each sum of squares holds of each variance, on average."""
    grids = [np.zeros(n, dtype=np.intp), *codes, np.arange(n)]
    depth = len(codes) + 1
    trace = np.zeros((depth + 1, depth))
    for row, code in enumerate(grids):
        sizes = np.bincount(code)
        for column, inner in enumerate(grids[1:]):
            pairs, counts = np.unique(np.stack([code, inner]), axis=1, return_counts=True)
            trace[row, column] = float((counts**2 / sizes[pairs[0]]).sum())
    return np.diff(trace, axis=0)
