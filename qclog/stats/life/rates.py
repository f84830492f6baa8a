"""Counts of comebacks: rates with exposure, shares, and exact tests between groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import Floats, read_number, read_probability
from qclog.stats.compare.exact_tests import SecondCount, binomial_p, log_chance_of_all

Counts = npt.NDArray[np.int64]

_SEED = 20_240_304
_TRIALS = 20_000


@dataclass(frozen=True, slots=True)
class RateComparison:
    """Rates of groups (events per unit of exposure, or per unit), an exact test that they are one rate.

    `ratio` is the second rate over the first, for two groups only.
    """

    events: tuple[int, ...]
    exposures: tuple[float, ...]
    rates: tuple[Estimate, ...]
    ratio: Estimate | None
    p_value: float
    method: str
    warnings: tuple[str, ...] = ()


@checked
def estimate_rate(events: int, exposure: float, *, confidence: float = 0.95) -> Estimate:
    """A rate with its exact interval (at least the stated confidence).

    Parameters
    ----------
    events : 0 or more. exposure : hours, months, units in service ... above 0; the rate is per unit of it.

    Raises
    ------
    StatisticsError : a negative count, no exposure.

    Source: Garwood, Biometrika 28 (1936).
    """
    count = _read_count(events, "events")
    exposure = read_number(exposure, "exposure", above=0)
    tail = (1 - read_probability(confidence)) / 2
    low = float(special.chdtri(2 * count, 1 - tail)) / 2 if count else 0.0
    high = float(special.chdtri(2 * count + 2, tail)) / 2
    return Estimate(count / exposure, low / exposure, high / exposure, confidence, "exact Poisson")


@checked
def estimate_share(count: int, n: int, *, confidence: float = 0.95) -> Estimate:
    """A share with its exact interval (at least the stated confidence).

    Parameters
    ----------
    count : of `n` units, 0 to n.

    Raises
    ------
    StatisticsError : a count outside 0 to n.

    Source: Clopper & Pearson, Biometrika 26 (1934).
    """
    count = _read_count(count, "count")
    if n < 1 or count > n:
        raise StatisticsError("the count lies outside 0 to n", field="count", found=f"{count} of {n}")
    tail = (1 - read_probability(confidence)) / 2
    low = float(special.betaincinv(count, n - count + 1, tail)) if count else 0.0
    high = float(special.betaincinv(count + 1, n - count, 1 - tail)) if count < n else 1.0
    return Estimate(count / n, low, high, confidence, "exact binomial")


@checked
def compare_rates(events: Sequence[int], exposures: Sequence[float], *, confidence: float = 0.95) -> RateComparison:
    """Do groups with different exposure have one rate? Given the total, events fall like the exposures.

    Parameters
    ----------
    events, exposures : one of each for every group, two or more.

    Raises
    ------
    TooFewError : one group. StatisticsError : negative counts, no exposure, unequal lengths.

    Source: conditional exact test (Przyborowski & Wilenski, Biometrika 31 (1940)); for more than two groups the
    multinomial test, by seeded simulation where the outcomes are too many to list.
    """
    counts = [_read_count(e, "events") for e in events]
    at_risk = [read_number(x, "exposures", above=0) for x in exposures]
    level = read_probability(confidence)
    _check_groups(len(counts), len(at_risk))
    total = sum(counts)
    shares = np.array(at_risk) / sum(at_risk)
    rates = tuple(estimate_rate(c, x, confidence=level) for c, x in zip(counts, at_risk, strict=True))
    notes = _few(total, float((1 - shares.max()) ** total) if total else 1.0)
    ratio = None
    if total == 0:
        p, method = 1.0, "no event at all"
    elif len(counts) == 2:
        p, method = binomial_p(counts[1], total, float(shares[1])), "exact conditional binomial"
    else:
        p, method = _multinomial_p(np.array(counts), shares), "exact multinomial, simulated"
    if len(counts) == 2:
        ratio = _ratio(counts, at_risk, level)
    return RateComparison(tuple(counts), tuple(at_risk), rates, ratio, p, method, notes)


@checked
def compare_shares(
    counts: Sequence[int], sizes: Sequence[int], *, confidence: float = 0.95, with_ratio: bool = True
) -> RateComparison:
    """Do groups of units have one share of comebacks? Fisher's exact test, by simulation for more than two groups.

    Parameters
    ----------
    counts : with a comeback, sizes : of the group; one of each for every group, two or more.

    Returns
    -------
    RateComparison : `rates` are shares, `ratio` the odds ratio of the second to the first (conditional estimate);
    None where it is not asked for.

    Raises
    ------
    TooFewError : one group. StatisticsError : a count above its size, unequal lengths.

    Source: Fisher 1935; Freeman & Halton, Biometrika 38 (1951); odds ratio: Cornfield's exact interval.
    """
    found = [_read_count(c, "counts") for c in counts]
    units = [_read_count(s, "sizes") for s in sizes]
    level = read_probability(confidence)
    _check_groups(len(found), len(units))
    shares = tuple(estimate_share(c, s, confidence=level) for c, s in zip(found, units, strict=True))
    total = sum(found)
    ratio = None
    notes = _few(total, _rarest_outcome(total, units))
    if total in (0, sum(units)):
        p, method = 1.0, "no difference possible"
    elif len(found) == 2:
        second = SecondCount((found[0], found[1]), (units[0], units[1]))
        p, method = second.p_value(), "Fisher's exact test"
        ratio = second.odds_ratio(level) if with_ratio else None
    else:
        p, method = _table_p(np.array(found), np.array(units)), "Fisher's exact test, simulated"
    return RateComparison(tuple(found), tuple(float(u) for u in units), shares, ratio, p, method, notes)


def _ratio(counts: list[int], at_risk: list[float], level: float) -> Estimate:
    scale = at_risk[0] / at_risk[1]
    share = estimate_share(counts[1], max(1, sum(counts)), confidence=level)
    if sum(counts) == 0:
        return Estimate(float("nan"), 0.0, inf, level, "exact conditional")

    def odds(p: float) -> float:
        return scale * p / (1 - p) if p < 1 else inf

    return Estimate(odds(share.value), odds(share.lower), odds(share.upper), level, "exact conditional")


def _multinomial_p(counts: Counts, shares: Floats) -> float:
    total = int(counts.sum())

    def log_chance(rows: Counts) -> Floats:
        logs = special.gammaln(total + 1) - special.gammaln(rows + 1).sum(axis=-1)
        return np.asarray(logs + (rows * np.log(shares)).sum(axis=-1), dtype=np.float64)

    samples = np.random.default_rng(_SEED).multinomial(total, shares, size=_TRIALS)
    rarer = log_chance(samples) <= log_chance(counts) + 1e-7
    return (1 + int(rarer.sum())) / (1 + _TRIALS)


def _table_p(counts: Counts, sizes: Counts) -> float:
    def log_chance(rows: Counts) -> Floats:
        parts = special.gammaln(sizes + 1) - special.gammaln(rows + 1) - special.gammaln(sizes - rows + 1)
        return np.asarray(parts.sum(axis=-1), dtype=np.float64)

    rng = np.random.default_rng(_SEED)
    samples = rng.multivariate_hypergeometric(sizes.astype(np.int64), int(counts.sum()), size=_TRIALS)
    rarer = log_chance(samples) <= log_chance(counts) + 1e-7
    return (1 + int(rarer.sum())) / (1 + _TRIALS)


def _rarest_outcome(total: int, units: list[int]) -> float:
    if total == 0 or total >= sum(units):
        return 1.0
    chances = [exp(log_chance_of_all(total, u, sum(units))) for u in units if 0 < u < sum(units)]
    return min(chances, default=1.0)


def _few(total: int, rarest: float) -> tuple[str, ...]:
    """Even the most lopsided outcome would be no evidence: say so rather than "no difference"."""
    if rarest > 0.05:
        return (f"too few to say: with {total} events no outcome could show a difference",)
    return ()


def _check_groups(n: int, m: int) -> None:
    if n != m:
        raise StatisticsError("one count for each group size", field="events, exposures", found=f"{n} and {m}")
    if n < 2:
        raise TooFewError("two groups or more are needed", field="events", found=n)


def _read_count(value: int, field: str) -> int:
    number = read_number(value, field, at_least=0)
    if number != int(number):
        raise StatisticsError(f"{field} must be whole numbers", field=field, found=value)
    return int(number)
