"""Exact tests of counts: one share against a given one; two shares, with their odds ratio and its interval.

Two-sided tests add up all outcomes no likelier than the one seen. Of two shares the second count, given both sizes and
the total, follows the noncentral hypergeometric distribution (Fisher 1935; Cornfield 1956 for the interval).
"""

from __future__ import annotations

from math import exp, inf
from typing import Any

import numpy as np
from scipy import special

from qclog.stats.base.intervals import Estimate

_TIES = 1 + 1e-7  # outcomes as likely as the one seen count as such, whatever their last digits

Floats = np.ndarray[Any, np.dtype[np.float64]]


def binomial_p(count: int, n: int, share: float) -> float:
    """The two-sided chance of a count of `n`, each of which counts with the chance `share`."""
    every = np.arange(n + 1)
    logs = _log_choose(n, every) + special.xlogy(every, share) + special.xlog1py(n - every, -share)
    return _no_likelier(np.exp(logs), count)


def _no_likelier(chances: Floats, seen: int) -> float:
    return min(1.0, float(chances[chances <= chances[seen] * _TIES].sum()))


class SecondCount:
    """The second of two counts whose total is given; `sizes` are those of both groups."""

    def __init__(self, counts: tuple[int, int], sizes: tuple[int, int]) -> None:
        total = sum(counts)
        self.count = counts[1]
        self.every = np.arange(max(0, total - sizes[0]), min(total, sizes[1]) + 1)
        self.logs = _log_choose(sizes[1], self.every) + _log_choose(sizes[0], total - self.every)

    def chances(self, log_odds: float = 0.0) -> Floats:
        """The chance of every count, where the odds ratio (second over first) is exp(log_odds)."""
        logs = self.logs + self.every * log_odds
        weights = np.exp(logs - logs.max())
        return np.asarray(weights / weights.sum(), dtype=np.float64)

    def p_value(self) -> float:
        """Fisher's two-sided test: the chance of all counts no more likely than the one seen."""
        return _no_likelier(self.chances(), self.count - int(self.every[0]))

    def odds_ratio(self, level: float) -> Estimate:
        """The conditional estimate, and Cornfield's exact interval."""
        first, last = int(self.every[0]), int(self.every[-1])
        tail = (1 - level) / 2
        below, above = self.every <= self.count, self.every >= self.count
        value = 0.0 if self.count == first else inf if self.count == last else self._where(self.every, self.count)
        lower = 0.0 if self.count == first else self._where(above.astype(float), tail)
        upper = inf if self.count == last else self._where(below.astype(float), tail)
        return Estimate(value, lower, upper, level, "conditional")

    def _where(self, of: Any, wanted: float) -> float:
        """The odds ratio at which the mean of `of` over the counts is `wanted`."""
        from scipy import optimize

        def miss(log_odds: float) -> float:
            return float(self.chances(log_odds) @ of) - wanted

        reach = 4.0
        while miss(-reach) * miss(reach) > 0:
            reach *= 2
        return exp(optimize.brentq(miss, -reach, reach, xtol=1e-12, rtol=1e-14))


def _log_choose(n: int, k: Any) -> Any:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


def log_chance_of_all(total: int, one: int, all_units: int) -> float:
    """log of the chance that of `total` events among `all_units`, as many fall among `one` units as can."""
    most = min(total, one)
    return float(_log_choose(one, most) + _log_choose(all_units - one, total - most) - _log_choose(all_units, total))
