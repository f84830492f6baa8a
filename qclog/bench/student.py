"""The quantile of Student's t for whole degrees of freedom, without loading a library for one number."""

from __future__ import annotations

from math import atan, cos, exp, lgamma, log, pi, sin, sqrt
from statistics import NormalDist

_MANY = 5000  # from here on the first terms of the expansion about the normal are exact to 1e-12


def t_quantile(share: float, freedom: int) -> float:
    """The value that `share` of Student's t with `freedom` degrees of freedom (1 or more) lies below; share 0.5 to 1.

    Source: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.7.3 and 26.7.4 for the chance,
    26.7.5 for the value to begin from, bettered by Newton's steps.
    """
    if freedom < 1 or not 0.5 <= share < 1:
        raise ValueError(f"no such quantile: share {share}, degrees of freedom {freedom}")
    if freedom == 1:
        return sin(pi * (share - 0.5)) / cos(pi * (share - 0.5))
    x = NormalDist().inv_cdf(share)
    t = x + _expansion(x, freedom)
    if freedom >= _MANY:
        return t
    for _ in range(50):
        step = (_below(t, freedom) - share) / _density(t, freedom)
        t -= step
        if abs(step) <= 1e-14 * max(1.0, t):
            break
    return t


def _expansion(x: float, freedom: int) -> float:
    """26.7.5: what the quantile of t lies beyond that of the normal."""
    first = (x**3 + x) / 4
    second = (5 * x**5 + 16 * x**3 + 3 * x) / 96
    third = (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / 384
    return first / freedom + second / freedom**2 + third / freedom**3


def _below(t: float, freedom: int) -> float:
    """26.7.3 (odd) and 26.7.4 (even): the share of t below `t`."""
    angle = atan(t / sqrt(freedom))
    square = cos(angle) ** 2
    odd = freedom % 2
    term = cos(angle) if odd else 1.0
    total = 0.0 if freedom == 1 else term
    for k in range(2 + odd, freedom - 1, 2):
        term *= square * (k - 1) / k
        total += term
    within = 2 / pi * (angle + sin(angle) * total) if odd else sin(angle) * total
    return 0.5 + within / 2


def _density(t: float, freedom: int) -> float:
    logs = lgamma((freedom + 1) / 2) - lgamma(freedom / 2) - 0.5 * log(freedom * pi)
    return exp(logs - (freedom + 1) / 2 * log(1 + t * t / freedom))
