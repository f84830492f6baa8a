"""Tolerance intervals: between which limits does a wanted share of all units lie, with a wanted confidence?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes
from qclog.stats.base.series import centre_and_deviations, read_number, read_probability, read_values
from qclog.stats.rounded.coarse import bracket, keep_information, step_warning
from qclog.stats.rounded.interval_fit import fit_normal

Side = Literal["both", "lower", "upper"]
_NODES = 160
_ENOUGH_KEPT = 10.0  # degrees of freedom after rounding from which the likelihood's own spread covers what it says


@dataclass(frozen=True, slots=True)
class ToleranceInterval:
    """Limits in the unit of the readings; infinite on the side not asked for. `factor` times `sd` was used."""

    n: int
    mean: float
    sd: float
    lower: float
    upper: float
    factor: float
    coverage: float
    confidence: float
    side: Side
    step: float
    warnings: tuple[str, ...] = ()


@checked
def estimate_tolerance(
    values: npt.ArrayLike,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    side: Side = "both",
    step: float = 0.0,
) -> ToleranceInterval:
    """Normal tolerance interval.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more, a normal sample.
    coverage : share of all units to enclose. confidence : that it does.
    side : "both", or one limit only.
    step : of the gauge, same unit; mean and spread are then those of the likelihood on intervals. Where rounding
        leaves too little of the spread for that, each reading may lie anywhere inside its step: that spread is added
        to the one seen, so that the limits hold at least what they say.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`; a setting out of range.

    Source: ISO 16269-6:2014, exact factors.
    """
    array = read_values(values, minimum=2)
    n = int(array.size)
    step = read_number(step, "step", at_least=0)
    notes = []
    sample, freedom = float(n), n - 1.0
    mean, d = centre_and_deviations(array)
    sd = sqrt(float(d @ d) / (n - 1) + step**2 / 12)
    if step > 0:
        fit = fit_normal(*bracket(array, step), intervals=False)
        kept = keep_information(fit.sd_unbiased, step)
        if freedom * kept**2 >= _ENOUGH_KEPT:
            mean, sd = fit.mean.value, fit.sd_unbiased
            sample, freedom = n * kept, freedom * kept**2
    note = step_warning(array, step)
    if note:
        notes.append(note)
    if sd == 0:
        notes.append("no spread to be seen, so the interval has no width")
    if side == "both":
        k = two_sided_factor(sample, coverage, confidence, freedom=freedom)
    elif side in ("lower", "upper"):
        k = one_sided_factor(sample, coverage, confidence, freedom=freedom)
    else:
        raise StatisticsError("unknown side", field="side", found=side, hint='give "both", "lower" or "upper"')
    lower = mean - k * sd if side != "upper" else float("-inf")
    upper = mean + k * sd if side != "lower" else float("inf")
    return ToleranceInterval(n, mean, sd, lower, upper, k, coverage, confidence, side, step, tuple(notes))


@checked
@lru_cache(maxsize=1024)
def two_sided_factor(n: float, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Exact factor k: mean +/- k sd encloses `coverage` of a normal with probability `confidence`.

    Parameters
    ----------
    n : readings behind the mean. freedom : of the standard deviation, n - 1 by default.

    Raises
    ------
    StatisticsError : n or freedom too small; a share outside 0 to 1.

    Source: ISO 16269-6:2014. Averaged over where the sample mean falls, the chance that the sample spread is
    large enough.
    """
    from scipy import optimize

    f = _read_sizes(n, freedom)
    coverage, confidence = read_probability(coverage, "coverage"), read_probability(confidence)
    node, weight = legendre_nodes(_NODES)
    x = 4.5 * (node + 1)
    density = np.exp(-(x**2) / 2) * 2 / sqrt(2 * np.pi) * 4.5 * weight
    # Half-width that encloses the coverage when the mean is off by x / sqrt n: a noncentral chi-square
    # quantile.
    squared = special.chndtrix(coverage, 1.0, np.maximum(x**2 / n, 1e-12))

    def miss(k: float) -> float:
        return float(density @ special.chdtrc(f, f * squared / k**2)) - confidence

    high = 4.0
    while miss(high) < 0:
        high *= 4
    return float(optimize.brentq(miss, 1e-6, high, xtol=1e-12, rtol=1e-13))


@checked
def howe_factor(n: float, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Howe's approximation of the two-sided factor, as older tables and handbooks print.

    Raises
    ------
    StatisticsError : as `two_sided_factor`.

    Source: Howe, JASA 64 (1969); NIST e-Handbook 7.2.6.3.
    """
    f = _read_sizes(n, freedom)
    z = float(special.ndtri((1 + read_probability(coverage, "coverage")) / 2))
    return z * sqrt(f * (1 + 1 / n) / float(special.chdtri(f, read_probability(confidence))))


@checked
@lru_cache(maxsize=1024)
def one_sided_factor(n: float, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Exact factor k: mean + k sd lies above `coverage` of a normal with probability `confidence`.

    Raises
    ------
    StatisticsError : n below 2; a share outside 0 to 1.

    Source: ISO 16269-6:2014: the noncentral t quantile over sqrt n.
    """
    from scipy import stats

    f = _read_sizes(n, freedom)
    coverage, confidence = read_probability(coverage, "coverage"), read_probability(confidence)
    shift = float(special.ndtri(coverage)) * sqrt(n)
    return float(stats.nct.ppf(confidence, f, shift)) / sqrt(n)


@checked
def one_sided_factor_approximate(n: int, coverage: float, confidence: float) -> float:
    """Natrella's approximation of the one-sided factor, as the NIST e-Handbook 7.2.6.3 works it.

    Raises
    ------
    StatisticsError : n below 2; a share outside 0 to 1; n too small for the formula.
    """
    f = _read_sizes(n, None)
    z_p = float(special.ndtri(read_probability(coverage, "coverage")))
    z_g = float(special.ndtri(read_probability(confidence)))
    a = 1 - z_g**2 / (2 * f)
    b = z_p**2 - z_g**2 / n
    if a <= 0 or z_p**2 < a * b:
        raise StatisticsError("too few for the approximation", field="n", found=n, hint="use the exact factor")
    return (z_p + sqrt(z_p**2 - a * b)) / a


def _read_sizes(n: float, freedom: float | None) -> float:
    f = n - 1 if freedom is None else freedom
    if n < 1 or not f > 0:
        raise StatisticsError("two readings or more are needed", field="n", found=n, hint="give 2 or more")
    return f
