"""Nodes and weights for integrals, and averages over where a sample's spread may fall."""

from __future__ import annotations

from functools import lru_cache
from math import log

import numpy as np

from qclog.stats.base.series import Floats


@lru_cache(maxsize=64)
def legendre_nodes(count: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights on (-1, 1), kept since finding them costs more than most integrals."""
    node, weight = np.polynomial.legendre.leggauss(count)
    node.setflags(write=False)
    weight.setflags(write=False)
    return node, weight


def spread_nodes(freedom: float, count: int = 100) -> tuple[Floats, Floats]:
    """Nodes s and weights for averages over s = sqrt(chi-square / freedom), all but 1e-13 at either end.

    Parameters
    ----------
    freedom : degrees of freedom, above 0. count : of nodes.
    """
    from scipy import special

    node, weight = legendre_nodes(count)
    low, high = np.sqrt(special.chdtri(freedom, np.array([1 - 1e-13, 1e-13])) / freedom)
    s = low + (high - low) * (node + 1) / 2
    half = freedom / 2
    log_density = half * log(half) - special.gammaln(half) + log(2) + (freedom - 1) * np.log(s) - half * s**2
    share = np.exp(log_density) * weight * (high - low) / 2
    return s, np.asarray(share / share.sum(), dtype=np.float64)
