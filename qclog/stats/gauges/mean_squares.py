"""Intervals for sums and differences of mean squares, from which variance components are made."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np
from scipy import special

from qclog.stats.base.intervals import Estimate


def combine_mean_squares(
    coefficients: Sequence[float], squares: Sequence[float], freedoms: Sequence[float], confidence: float
) -> Estimate:
    """A linear combination of independent mean squares, with an interval.

    Parameters
    ----------
    coefficients : of either sign. squares : mean squares, unit squared. freedoms : their degrees of freedom.
    confidence : of the two-sided interval.

    Returns
    -------
    Estimate : unit squared; neither the value nor the ends are cut at 0 here.

    Source: Ting, Burdick, Graybill, Jeyaratnam & Lu, Journal of Statistical Computation and Simulation 35
    (1990); exact for one mean square, and close to it for several.
    """
    terms = [(c * m, f) for c, m, f in zip(coefficients, squares, freedoms, strict=True) if c != 0]
    value = float(sum(t for t, _ in terms))
    tail = (1 - confidence) / 2
    down = _reach(terms, tail)
    up = _reach([(-t, f) for t, f in terms], tail)
    return Estimate(value, value - down, value + up, confidence, "modified large sample")


def _reach(terms: list[tuple[float, float]], tail: float) -> float:
    """Distance from the value down to its lower bound; for the upper bound turn all signs round."""
    plus = [(t, f) for t, f in terms if t > 0]
    minus = [(-t, f) for t, f in terms if t < 0]

    def shrink(f: float) -> float:
        return 1 - f / float(special.chdtri(f, tail))

    def grow(f: float) -> float:
        return f / float(special.chdtri(f, 1 - tail)) - 1

    total = sum((shrink(f) * t) ** 2 for t, f in plus) + sum((grow(f) * t) ** 2 for t, f in minus)
    for t, f in plus:
        for u, g in minus:
            ratio = float(special.fdtri(f, g, 1 - tail))
            cross = ((ratio - 1) ** 2 - (shrink(f) * ratio) ** 2 - grow(g) ** 2) / ratio
            total += cross * t * u
    # Two terms of one sign together: what is wanted for them is the bound of their sum.
    for i, (t, f) in enumerate(plus):
        for u, g in plus[i + 1 :]:
            both = shrink(f + g) ** 2 * (f + g) ** 2 / (f * g) - shrink(f) ** 2 * f / g - shrink(g) ** 2 * g / f
            total += max(0.0, both) / max(1, len(plus) - 1) * t * u
    return sqrt(max(0.0, float(total)))


def as_spread(variance: Estimate) -> Estimate:
    """Square roots of a variance and its ends, negatives taken as 0."""
    low, mid, high = np.sqrt(np.maximum(0.0, [variance.lower, variance.value, variance.upper]))
    return Estimate(float(mid), float(low), float(high), variance.confidence, variance.method)
