"""The distribution of bracketed readings without assuming a shape."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from qclog.errors import TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats
from qclog.stats.rounded.interval_fit import read_intervals

_MAX_ROUNDS = 200_000


@dataclass(frozen=True, slots=True)
class ShapeFreeEstimate:
    """Probability `mass[i]` lies somewhere in (`lower[i]`, `upper[i]`]; where inside, the data can't tell.

    Ends in the unit of the readings; a first lower or last upper end may be infinite.
    """

    n: int
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    mass: tuple[float, ...]
    log_likelihood: float
    rounds: int
    warnings: tuple[str, ...] = ()

    def share_below(self, value: float) -> tuple[float, float]:
        """Smallest and largest share at or below `value` that agree with the estimate."""
        least = sum(m for m, u in zip(self.mass, self.upper, strict=True) if u <= value)
        most = sum(
            m for m, low, u in zip(self.mass, self.lower, self.upper, strict=True) if low < value or (low == u == value)
        )
        return least, most


@checked
def estimate_shape_free(lower: npt.ArrayLike, upper: npt.ArrayLike, *, tolerance: float = 1e-10) -> ShapeFreeEstimate:
    """Estimate the distribution behind brackets.

    Parameters
    ----------
    lower, upper : one-dimensional, one unit; each reading lies above `lower` and at or below `upper`;
        equal for an exact reading, infinite for an open end.
    tolerance : largest change of a probability in the last round.

    Raises
    ------
    TooFewError : none at all. StatisticsError : see `interval_fit.read_intervals`.

    Source: Turnbull, Journal of the Royal Statistical Society B 38 (1976) 290-295 (self-consistency).
    """
    low, high = read_intervals(lower, upper)
    if low.size == 0:
        raise TooFewError("no readings", field="lower, upper", found=0)
    left, right = _innermost(low, high)
    pairs, counts = np.unique(np.stack([low, high]), axis=1, return_counts=True)
    first, last = _places_in(pairs, left, right)
    mass = np.full(left.size, 1 / left.size)
    notes, change, rounds = [], 1.0, 0
    while change >= tolerance and rounds < _MAX_ROUNDS:
        rounds += 1
        following = mass * _spread_over(counts / _within(mass, first, last), first, last, mass.size) / low.size
        change = float(np.abs(following - mass).max())
        mass = following
    if change >= tolerance:
        notes.append("the estimate had not settled")
    keep = mass > 1e-12
    mass = mass / mass.sum()
    return ShapeFreeEstimate(
        n=int(low.size),
        lower=tuple(left[keep].tolist()),
        upper=tuple(right[keep].tolist()),
        mass=tuple(mass[keep].tolist()),
        log_likelihood=float(counts @ np.log(_within(mass, first, last))),
        rounds=rounds,
        warnings=tuple(notes),
    )


Places = npt.NDArray[np.intp]


def _places_in(pairs: Floats, left: Floats, right: Floats) -> tuple[Places, Places]:
    """The first of the innermost intervals that lie in each bracket, and the one after the last: they follow on.

    A bracket does not hold an exact reading at its own lower end.
    """
    first = np.searchsorted(left, pairs[0], side="left")
    at = np.minimum(first, left.size - 1)
    first = first + ((pairs[0] < pairs[1]) & (left[at] == pairs[0]) & (right[at] == pairs[0]))
    return first, np.searchsorted(right, pairs[1], side="right")


def _within(mass: Floats, first: Places, last: Places) -> Floats:
    """What each bracket holds of `mass`."""
    ends = np.stack([first, last], axis=1).ravel()
    return np.asarray(np.add.reduceat(np.append(mass, 0.0), ends)[::2], dtype=np.float64)


def _spread_over(weights: Floats, first: Places, last: Places, size: int) -> Floats:
    """For each interval the sum of the weights of the brackets that hold it."""
    steps = np.bincount(first, weights, size + 1) - np.bincount(last, weights, size + 1)
    return np.maximum(np.cumsum(steps[:-1]), 0.0)


def _innermost(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Where a lower end is followed at once by an upper end; an exact reading counts as a point in (a, b]."""
    exact = low == high
    ends = sorted(
        [(v, 0 if e else 2, "low") for v, e in zip(low.tolist(), exact.tolist(), strict=True)]
        + [(v, 1, "high") for v in high.tolist()]
    )
    left, right = [], []
    for (value, _, kind), (following, _, next_kind) in pairwise(ends):
        if kind == "low" and next_kind == "high":
            left.append(value)
            right.append(following)
    return np.array(left), np.array(right)
