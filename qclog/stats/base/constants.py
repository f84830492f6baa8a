"""The constants of control charts, from their integrals, for any number of readings in a group.

Definitions as in ISO 7870-2 and ASTM E2587; nothing here is taken from a rounded table.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, gamma, lgamma, pi, sqrt

import numpy as np

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes

#: median of |difference of two unit normals|: sqrt 2 times the upper quartile of the normal
MEDIAN_MOVING_RANGE = sqrt(2.0) * 0.6744897501960817
_STIRLING_FROM = 1000


def _check_size(n: int) -> int:
    if int(n) != n or n < 2:
        raise StatisticsError("a group has 2 or more readings", field="n", found=n, hint="give a whole number from 2")
    return int(n)


@checked
@lru_cache(maxsize=4096)
def c4(n: int) -> float:
    """Mean of the sample standard deviation of `n` unit normals. Raises StatisticsError for n < 2."""
    n = _check_size(n)
    x = (n - 1) / 2
    if n < 100:
        return gamma(x + 0.5) / gamma(x) / sqrt(x)
    if n < _STIRLING_FROM:
        return exp(lgamma(x + 0.5) - lgamma(x)) / sqrt(x)
    y = 1 / (8 * x)
    return 1 - y + y**2 / 2 + 5 * y**3 / 2 - 21 * y**4 / 8


@checked
@lru_cache(maxsize=4096)
def d2(n: int) -> float:
    """Mean range of `n` unit normals. Raises StatisticsError for n < 2.

    The trapezoid rule is exact here to the last digits, because the integrand and all its derivatives
    vanish at both ends.
    """
    n = _check_size(n)
    if n == 2:
        return 2 / sqrt(pi)
    from scipy import special

    x = np.arange(-12.0, 12.0, 0.01)
    return float(0.01 * np.sum(-np.expm1(n * special.log_ndtr(x)) - special.ndtr(-x) ** n))


@checked
@lru_cache(maxsize=4096)
def d3(n: int) -> float:
    """Standard deviation of the range of `n` unit normals. Raises StatisticsError for n < 2."""
    n = _check_size(n)
    if n == 2:
        return sqrt(2 - 4 / pi)
    from scipy import special

    w, weight = legendre_nodes(200)
    w, weight = 10 * (w + 1), 10 * weight
    x = np.arange(-12.0, 12.0, 0.02)
    low, high = special.ndtr(x)[:, None], special.ndtr(x[:, None] + w)
    upper = special.ndtr(-x)[:, None] - special.ndtr(-x[:, None] - w)
    inside = np.where(x[:, None] > 0, upper, high - low)
    density = np.exp(-(x**2) / 2) / sqrt(2 * pi)
    below = n * 0.02 * (density @ inside ** (n - 1))
    return sqrt(max(0.0, float(2 * np.sum(weight * w * (1 - below))) - d2(n) ** 2))


@checked
def mean_from_range(n: int, factor: float = 3.0) -> float:
    """A2: half-width of the limits for a mean of `n`, per unit of mean range."""
    return factor / (d2(n) * sqrt(n))


@checked
def mean_from_sd(n: int, factor: float = 3.0) -> float:
    """A3: half-width of the limits for a mean of `n`, per unit of mean standard deviation."""
    return factor / (c4(n) * sqrt(n))


@checked
def sd_limits(n: int, factor: float = 3.0) -> tuple[float, float]:
    """B3 and B4: limits for a standard deviation of `n`, per unit of mean standard deviation."""
    half = factor * sqrt(max(0.0, 1 - c4(n) ** 2)) / c4(n)
    return max(0.0, 1 - half), 1 + half


@checked
def sd_limits_known(n: int, factor: float = 3.0) -> tuple[float, float]:
    """B5 and B6: limits for a standard deviation of `n`, per unit of the known spread."""
    low, high = sd_limits(n, factor)
    return low * c4(n), high * c4(n)


@checked
def range_limits(n: int, factor: float = 3.0) -> tuple[float, float]:
    """D3 and D4: limits for a range of `n`, per unit of mean range."""
    half = factor * d3(n) / d2(n)
    return max(0.0, 1 - half), 1 + half


@checked
def range_limits_known(n: int, factor: float = 3.0) -> tuple[float, float]:
    """D1 and D2: limits for a range of `n`, per unit of the known spread."""
    low, high = range_limits(n, factor)
    return low * d2(n), high * d2(n)
