"""What many spreads of one kind lend to each: quick, for thousands at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_values

FEWEST = 4
MOST_FREEDOM = 200.0


@dataclass(frozen=True, slots=True)
class LentSpread:
    """A spread every member of a kind may lean on, worth `freedom` readings more (0: nothing is lent); n members."""

    n: int
    sd: float
    freedom: float

    def lend(self, sds: Floats, freedom: Floats) -> Floats:
        """Each spread drawn toward the common one: sqrt((d0 s0^2 + d s^2) / (d0 + d))."""
        if not self.freedom:
            return sds
        own, lent = freedom * sds**2, self.freedom * self.sd**2
        return np.asarray(np.sqrt((own + lent) / (freedom + self.freedom)))


@checked
def lend_spread(sds: npt.ArrayLike, freedom: npt.ArrayLike) -> LentSpread:
    """The common spread and its worth from at least four spreads above 0 with their degrees of freedom.

    Raises
    ------
    StatisticsError : see `series.read_values`; unequal lengths.

    Source: the moment estimates of Smyth 2004 (Statistical Applications in Genetics and Molecular Biology 3(1), article
    3), section 6.2; `charts.family.pool_spread` fits the same by likelihood, slower.
    """
    s, d = read_values(sds, "sds", minimum=0), read_values(freedom, "freedom", minimum=0)
    if len(s) != len(d):
        raise StatisticsError("sds and freedom differ in length", field="freedom", found=len(d), hint=f"give {len(s)}")
    use = (s > 0) & (d > 0)
    s, d = s[use], d[use]
    if len(s) < FEWEST:
        return LentSpread(len(s), 0.0, 0.0)
    e = 2 * np.log(s) - special.digamma(d / 2) + np.log(d / 2)
    excess = float(e.var(ddof=1) - special.polygamma(1, d / 2).mean())
    d0 = MOST_FREEDOM if excess <= 0 else min(MOST_FREEDOM, 2 * _inverse_trigamma(excess))
    mean = float(e.mean() + special.digamma(d0 / 2) - np.log(d0 / 2))
    return LentSpread(len(s), float(np.exp(mean / 2)), d0)


def _inverse_trigamma(x: float) -> float:
    y = 0.5 + 1 / x
    for _ in range(20):
        trigamma = float(special.polygamma(1, y))
        y += trigamma * (1 - trigamma / x) / float(special.polygamma(2, y))
    return y
