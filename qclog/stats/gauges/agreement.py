"""Do two gauges agree on the same pieces? Bias and limits of agreement, also for brackets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.randomness import fit_trend
from qclog.stats.base.series import Floats, centre_and_deviations, read_number, read_probability, read_values
from qclog.stats.rounded.interval_fit import read_intervals

_LOG_ROOT = 0.5 * log(2 * np.pi)


@dataclass(frozen=True, slots=True)
class Agreement:
    """First gauge less second, in the unit of the readings.

    Between `lower` and `upper` lie the differences of about 95 % of pieces (`factor` standard deviations). `trend_p`
    small: the difference grows or falls with size; None for brackets.
    """

    n: int
    bias: Estimate
    sd: Estimate
    lower: Estimate
    upper: Estimate
    factor: float
    trend_p: float | None
    warnings: tuple[str, ...] = ()


@checked
def compare_gauges(
    first: npt.ArrayLike,
    second: npt.ArrayLike,
    *,
    factor: float = 1.96,
    confidence: float = 0.95,
    exact: bool = True,
) -> Agreement:
    """Agreement of exact readings of the same pieces.

    Parameters
    ----------
    first, second : one-dimensional, one unit, pair by pair, three or more.
    factor : of the limits (1.96; older papers use 2).
    confidence : of the intervals.
    exact : intervals of the limits by the noncentral t; False: by the approximation of the source,
        t sd sqrt((1 + factor^2 / 2) / n).

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; unequal lengths.

    Source: Bland & Altman, Lancet 1986 i 307-310.
    """
    a, b = read_values(first, "first", minimum=3), read_values(second, "second", minimum=3)
    if a.size != b.size:
        raise StatisticsError("the gauges read different numbers of pieces", field="second", found=int(b.size))
    factor, level = read_number(factor, "factor", above=0), read_probability(confidence)
    n = int(a.size)
    mean, d = centre_and_deviations(a - b)
    squares = float(d @ d)
    sd = sqrt(squares / (n - 1))
    ends = [sqrt(squares / float(special.chdtri(n - 1, tail))) for tail in ((1 - level) / 2, (1 + level) / 2)]
    size = (a + b) / 2
    trend = fit_trend(a - b, size).p_value if np.ptp(size) > 0 and sd > 0 else None
    notes = []
    if sd == 0:
        notes.append("all differences are equal")
    if trend is not None and trend < 0.05:
        notes.append("the difference changes with size: one bias does not tell all")
    spread = Estimate(sd, ends[0], ends[1], level, "chi-square")
    half = float(special.stdtrit(n - 1, (1 + level) / 2)) * sd / sqrt(n)
    bias = Estimate(mean, mean - half, mean + half, level, "Student's t")
    if exact:
        lower, upper = _limits(mean, sd, n, n - 1.0, factor, level)
    else:
        reach = half * sqrt(1 + factor**2 / 2)
        lower, upper = (
            Estimate(e, e - reach, e + reach, level, "normal approximation")
            for e in (mean - factor * sd, mean + factor * sd)
        )
    return Agreement(n, bias, spread, lower, upper, factor, trend, tuple(notes))


@checked
def compare_brackets(
    first: tuple[npt.ArrayLike, npt.ArrayLike],
    second: tuple[npt.ArrayLike, npt.ArrayLike],
    *,
    factor: float = 1.96,
    confidence: float = 0.95,
) -> Agreement:
    """Agreement of brackets of the same pieces: lower and upper ends from each gauge, equal for an exact reading.

    A difference then lies somewhere under a trapezium, flat or peaked as the two brackets are unlike or alike; the
    normal of the true differences is fitted through it by maximum likelihood.

    Parameters
    ----------
    first, second : (lower, upper), each one-dimensional, one unit, pair by pair, three or more; closed brackets.
    factor, confidence : as for `compare_gauges`.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : open brackets; unequal lengths.
    """
    from scipy import optimize

    low_a, high_a = read_intervals(*first)
    low_b, high_b = read_intervals(*second)
    factor, level = read_number(factor, "factor", above=0), read_probability(confidence)
    read_values(low_a, "first", minimum=3)
    if low_a.size != low_b.size:
        raise StatisticsError("the gauges read different numbers of pieces", field="second", found=int(low_b.size))
    wide_a, wide_b = high_a - low_a, high_b - low_b
    if not bool(np.isfinite(wide_a + wide_b).all()):
        raise StatisticsError("an open bracket can't be compared", field="first, second", hint="leave those out")
    n = int(low_a.size)
    centre = (low_a + wide_a / 2) - (low_b + wide_b / 2)
    blur = float(((wide_a**2 + wide_b**2) / 12).mean())
    if blur == 0:
        return compare_gauges(low_a, low_b, factor=factor, confidence=confidence)
    scale = sqrt(float(centre.var(ddof=1)) + blur)
    origin = float(centre.mean())
    at = (centre - origin) / scale
    a, b = np.maximum(wide_a, wide_b) / scale, np.minimum(wide_a, wide_b) / scale

    def likelihood(mean: float, log_sd: float) -> float:
        return float(np.log(np.maximum(_blurred_density(at - mean, float(np.exp(log_sd)), a, b), 1e-300)).sum())

    floor = log(0.02 * sqrt(blur) / scale)
    best = optimize.minimize(
        lambda p: -likelihood(p[0], p[1]), [0.0, -0.2], method="L-BFGS-B", bounds=[(-9, 9), (floor, 3)]
    )
    mean, log_sd, top = float(best.x[0]), float(best.x[1]), -float(best.fun)
    sd = float(np.exp(log_sd))
    t = float(special.stdtrit(n - 1, (1 + level) / 2))
    bias_ends = _profile(
        lambda m: _best(lambda s: likelihood(m, s), floor, 3.0), mean, top - n / 2 * log(1 + t * t / (n - 1)), 1.0
    )
    sd_ends = []
    for way, share in ((-1.0, (1 + level) / 2), (1.0, (1 - level) / 2)):
        q = float(special.chdtri(n - 1, 1 - share))
        drop = (q - n - n * log(q / n)) / 2

        def along(s: float) -> float:
            return _best(lambda m: likelihood(m, s), -6.0, 6.0)

        if way < 0 and along(floor) > top - drop:
            sd_ends.append(0.0)
        else:
            sd_ends.append(float(np.exp(_end(along, log_sd, top - drop, way, 0.5))))
    notes = []
    if log_sd <= floor + 1e-3:
        notes.append("the brackets explain all differences: the gauges' own spread may be 0")
        sd = 0.0
    kept = sd**2 / (sd**2 + blur / scale**2)
    spread = Estimate(scale * sd * sqrt(n / (n - 1)), scale * sd_ends[0], scale * sd_ends[1], level, "profile")
    bias = Estimate(
        origin + scale * mean, origin + scale * bias_ends[0], origin + scale * bias_ends[1], level, "profile"
    )
    if kept > 0.6:
        lower, upper = _limits(bias.value, spread.value, n * kept, max(1.0, (n - 1) * kept**2), factor, level)
    else:
        # Little is known of the spread, and not evenly to both sides: the ends of both intervals together.
        wide, narrow = factor * spread.upper, factor * spread.lower
        value = factor * spread.value
        lower = Estimate(bias.value - value, bias.lower - wide, bias.upper - narrow, level, "ends taken together")
        upper = Estimate(bias.value + value, bias.lower + narrow, bias.upper + wide, level, "ends taken together")
    return Agreement(n, bias, spread, lower, upper, factor, None, tuple(notes))


def _limits(mean: float, sd: float, n: float, freedom: float, factor: float, level: float) -> tuple[Estimate, Estimate]:
    """mean -/+ factor sd, each with its exact interval for a normal sample."""
    from scipy import stats

    shift = factor * sqrt(n)
    near, far = (float(stats.nct.ppf(q, freedom, shift)) / sqrt(n) * sd for q in ((1 - level) / 2, (1 + level) / 2))
    method = "noncentral t"
    return (
        Estimate(mean - factor * sd, mean - far, mean - near, level, method),
        Estimate(mean + factor * sd, mean + near, mean + far, level, method),
    )


def _blurred_density(u: Floats, sd: float, a: Floats, b: Floats) -> Floats:
    """Density at `u` of a normal with spread `sd` plus two even spreads of widths a >= b around it."""
    thin = np.maximum(b, 1e-3 * a)
    total = np.hypot(sd, np.sqrt((a**2 + b**2) / 12))
    smooth = np.exp(-((u / total) ** 2) / 2 - _LOG_ROOT) / total
    if sd > 100 * float(a.max()):
        return np.asarray(smooth, dtype=np.float64)
    wide, narrow = np.maximum((a + thin) / 2, 1e-300), (a - thin) / 2

    def ramp(x: Floats) -> Floats:
        return np.asarray(x * special.ndtr(x / sd) + sd * np.exp(-((x / sd) ** 2) / 2 - _LOG_ROOT), dtype=np.float64)

    # The far side mirrored, so that the difference of large ramps does not cancel.
    v = -np.abs(u)
    rise = ramp(v + wide) - ramp(v + narrow) - ramp(v - narrow) + ramp(v - wide)
    area = np.where(a > 0, a * thin, 1.0)
    return np.asarray(np.where(a > 0, rise / area, smooth), dtype=np.float64)


def _best(function: Callable[[float], float], low: float, high: float) -> float:
    from scipy import optimize

    found = optimize.minimize_scalar(lambda v: -function(v), bounds=(low, high), method="bounded")
    return -float(found.fun)


def _profile(function: Callable[[float], float], at: float, target: float, reach: float) -> tuple[float, float]:
    return _end(function, at, target, -1.0, reach), _end(function, at, target, 1.0, reach)


def _end(function: Callable[[float], float], at: float, target: float, way: float, reach: float) -> float:
    from scipy import optimize

    while function(at + way * reach) > target and reach < 50:
        reach *= 1.6
    inner, outer = sorted((at, at + way * reach))
    if (function(inner) - target) * (function(outer) - target) > 0:
        return at + way * reach
    return float(optimize.brentq(lambda v: function(v) - target, inner, outer, xtol=1e-5))
