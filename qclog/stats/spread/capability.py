"""Capability: how the spread of a characteristic sits between its limits, with honest intervals.

Intervals for one-sided and two-sided indices and for the share outside average over where the true mean
and spread may lie given the readings (mean* normal about the sample mean, spread* from chi-square);
one-sided this is the exact noncentral t interval.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, nan, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate, estimate_normal
from qclog.stats.base.quadrature import spread_nodes
from qclog.stats.base.series import Floats, read_number, read_probability, read_values
from qclog.stats.charts.limits import individuals
from qclog.stats.rounded.coarse import bracket, keep_information, step_warning
from qclog.stats.rounded.interval_fit import fit_normal
from qclog.stats.spread.normality import check_normality

FORCED = "a final reading forced to its target by choice of shim says nothing about the case"
# Degrees of freedom of a spread from moving ranges, per reading less one (relative efficiency of the
# estimate).
_MOVING_RANGE_FREEDOM = 0.62


@dataclass(frozen=True, slots=True)
class Indices:
    """Cp, the one-sided indices and the worse of them (Cpk); `off_centre` is k, 0 in the middle, 1 on a limit."""

    two_sided: float | None
    upper: float | None
    lower: float | None
    worst: float
    off_centre: float | None


@dataclass(frozen=True, slots=True)
class Capability:
    """Indices of a series against its limits. Cp and Cpk use the spread between neighbours, Pp and Ppk the
    whole.

    `cp`, `pp` are None with one limit only. `share_outside` is what a normal with this mean and spread has
    beyond the limits. All indices unit free; mean and spreads in the unit of the readings.
    """

    n: int
    mean: float
    sd: float
    sd_neighbours: float
    lower: float | None
    upper: float | None
    cp: Estimate | None
    cpk: Estimate
    pp: Estimate | None
    ppk: Estimate
    share_outside: Estimate
    step: float
    confidence: float
    warnings: tuple[str, ...] = ()


@checked
def work_out_indices(mean: float, sd: float, *, lower: float | None, upper: float | None) -> Indices:
    """Indices from a mean and a spread.

    Parameters
    ----------
    mean, sd, lower, upper : one unit; sd above 0; at least one limit.

    Raises
    ------
    StatisticsError : no limit, limits in the wrong order, or a spread of 0 or less.

    Source: ISO 22514-1; NIST e-Handbook 6.1.6.
    """
    mean, sd = read_number(mean, "mean"), read_number(sd, "sd", above=0)
    low, high = _read_limits(lower, upper)
    up = (high - mean) / (3 * sd) if high < inf else None
    down = (mean - low) / (3 * sd) if low > -inf else None
    worst = min(v for v in (up, down) if v is not None)
    if up is None or down is None:
        return Indices(None, up, down, worst, None)
    return Indices((high - low) / (6 * sd), up, down, worst, abs(mean - (high + low) / 2) / ((high - low) / 2))


@checked
def bound_two_sided(index: float, freedom: float, *, confidence: float = 0.95) -> Estimate:
    """Exact interval for Cp or Pp from the chi-square of its spread.

    Parameters
    ----------
    index : unit free. freedom : degrees of freedom of the spread, n - 1 for a standard deviation.

    Raises
    ------
    StatisticsError : a setting out of range.
    """
    freedom = read_number(freedom, "freedom", above=0)
    level = read_probability(confidence)
    low = index * sqrt(float(special.chdtri(freedom, (1 + level) / 2)) / freedom)
    high = index * sqrt(float(special.chdtri(freedom, (1 - level) / 2)) / freedom)
    return Estimate(index, low, high, level, "chi-square")


@checked
def bound_worst_approximately(index: float, n: int, *, confidence: float = 0.95) -> Estimate:
    """Bissell's normal approximation for Cpk, as handbooks print it; `assess` has a better one.

    Raises
    ------
    StatisticsError : n below 2; a confidence outside 0 to 1.

    Source: Bissell, Applied Statistics 39(3) 1990, 331-340.
    """
    if n < 2:
        raise StatisticsError("two readings or more are needed", field="n", found=n)
    level = read_probability(confidence)
    half = float(special.ndtri((1 + level) / 2)) * sqrt(1 / (9 * n) + index**2 / (2 * (n - 1)))
    return Estimate(index, index - half, index + half, level, "normal approximation")


@checked
def bound_one_sided_below(index: float, n: int, *, confidence: float = 0.95) -> float:
    """Exact lower confidence bound for an index against one limit (Cpu or Cpl), by the noncentral t.

    Raises
    ------
    StatisticsError : n below 2; a confidence outside 0 to 1.
    """
    from scipy import optimize, stats

    if n < 2:
        raise StatisticsError("two readings or more are needed", field="n", found=n)
    level = read_probability(confidence)
    t = 3 * sqrt(n) * index

    def miss(c: float) -> float:
        return float(stats.nct.sf(t, n - 1, 3 * sqrt(n) * c)) - (1 - level)

    reach = 1.0
    while miss(index - reach) > 0:
        reach *= 2
    return float(optimize.brentq(miss, index - reach, index + 1.0, xtol=1e-10))


@checked
def work_out_from_percentiles(
    low: float, median: float, high: float, *, lower: float | None, upper: float | None
) -> Indices:
    """The percentile form: distances from the median to the limits over those to the 0.135 and 99.865 %
    points.

    Parameters
    ----------
    low, median, high : the 0.135, 50 and 99.865 % points, in order. lower, upper : limits; one unit
        throughout.

    Raises
    ------
    StatisticsError : points out of order; no limit.

    Source: ISO 22514-2, general geometric method.
    """
    low, median, high = read_number(low, "low"), read_number(median, "median"), read_number(high, "high")
    if not low < median < high:
        raise StatisticsError(
            "the percentiles are out of order", field="low, median, high", found=f"{low}, {median}, {high}"
        )
    at_least, at_most = _read_limits(lower, upper)
    up = (at_most - median) / (high - median) if at_most < inf else None
    down = (median - at_least) / (median - low) if at_least > -inf else None
    worst = min(v for v in (up, down) if v is not None)
    two = (at_most - at_least) / (high - low) if up is not None and down is not None else None
    half = (at_most - at_least) / 2
    off = abs(median - (at_most + at_least) / 2) / half if two is not None else None
    return Indices(two, up, down, worst, off)


@checked
def assess(
    values: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    step: float = 0.0,
    forced: bool = False,
    confidence: float = 0.95,
    minimum: int = 30,
) -> Capability:
    """Judge a series against its limits.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, three or more.
    lower, upper : limits, same unit; at least one.
    step : of the gauge, same unit; mean and spread are then those of the likelihood on intervals.
    forced : the readings were brought to target by choice (a final stand-off): refused.
    confidence : of each two-sided interval.
    minimum : below this many the result warns.

    Raises
    ------
    StatisticsError : forced readings; no limit; no spread; see `series.read_values`. TooFewError : fewer
        than 3.

    Source: ISO 22514-2 (indices); Mathew, Sebastian & Kurian, Quality Engineering 19 (2007), for the kind of
    interval that Cpk, Ppk and the share outside have here.
    """
    if forced:
        raise StatisticsError(FORCED, field="forced", found=True, hint="chart the implied recess and the pack instead")
    array = read_values(values, minimum=3)
    low, high = _read_limits(lower, upper)
    level = read_probability(confidence)
    n = int(array.size)
    near = individuals(array, minimum=minimum).sigma
    if read_number(step, "step", at_least=0) > 0:
        fit = fit_normal(*bracket(array, step), confidence=level)
        mean, sd = fit.mean.value, fit.sd_unbiased
        ends = fit.sd
    else:
        exact = estimate_normal(array, confidence=level)
        mean, sd, ends = exact.mean.value, exact.sd.value, exact.sd
    if sd == 0:
        raise StatisticsError(
            "no spread to be seen, so no index", field="values", found=f"{n} alike", hint="use a finer gauge"
        )
    notes = _notes(array, n, minimum, step, near)
    kept = keep_information(sd, step)
    sample, freedom = n * kept, (n - 1) * kept**2
    near_freedom = max(1.0, _MOVING_RANGE_FREEDOM * freedom)
    whole = work_out_indices(mean, sd, lower=lower, upper=upper)
    pp = cp = None
    if whole.two_sided is not None:
        pp = Estimate(whole.two_sided, (high - low) / (6 * ends.upper), nan, level, ends.method)
        pp = Estimate(
            pp.value, pp.lower, (high - low) / (6 * ends.lower) if ends.lower > 0 else inf, level, ends.method
        )
    if near > 0:
        inner = work_out_indices(mean, near, lower=lower, upper=upper)
        if inner.two_sided is not None:
            cp = bound_two_sided(inner.two_sided, near_freedom, confidence=level)
        cpk = _bound_worst(mean, near, sample, near_freedom, low, high, level, inner.worst)
    else:
        cpk = Estimate(inf, 0.0, inf, level, "no spread between neighbours")
    z_low, z_high = (low - mean) / sd, (high - mean) / sd
    share = float(special.ndtr(z_low) + special.ndtr(-z_high))
    return Capability(
        n=n,
        mean=mean,
        sd=sd,
        sd_neighbours=near,
        lower=lower,
        upper=upper,
        cp=cp,
        cpk=cpk,
        pp=pp,
        ppk=_bound_worst(mean, sd, sample, freedom, low, high, level, whole.worst),
        share_outside=_bound_share(mean, sd, sample, freedom, low, high, level, share),
        step=step,
        confidence=level,
        warnings=notes,
    )


def _read_limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    if lower is None and upper is None:
        raise StatisticsError("no limit to judge by", field="lower, upper", hint="give at least one")
    low = -inf if lower is None else read_number(lower, "lower")
    high = inf if upper is None else read_number(upper, "upper")
    if low >= high:
        raise StatisticsError(
            "the lower limit is not below the upper", field="lower, upper", found=f"{lower} and {upper}"
        )
    return low, high


def _notes(array: Floats, n: int, minimum: int, step: float, near: float) -> tuple[str, ...]:
    notes = []
    if n < minimum:
        notes.append(f"few readings ({n} of {minimum}): look at the interval, not the figure")
    coarse = step_warning(array, step, near) if step > 0 else None
    if coarse:
        notes.append(coarse)
    normal = check_normality(array, step=step, trials=199)
    if normal.anderson_darling_p is not None and normal.anderson_darling_p < 0.01:
        notes.append("not normal: use the percentile form with a fitted shape")
    return tuple(notes)


def _draws(freedom: float) -> tuple[Floats, Floats]:
    """Spread* / spread over its chances, as nodes and weights."""
    s, weight = spread_nodes(freedom, 200)
    return 1 / s, weight


def _bound_worst(
    mean: float, sd: float, n: float, freedom: float, low: float, high: float, level: float, value: float
) -> Estimate:
    from scipy import optimize

    ratio, weight = _draws(freedom)
    spread = sd * ratio
    root = sqrt(n) / spread

    def chance_above(c: float) -> float:
        top = special.ndtr((high - 3 * c * spread - mean) * root)
        bottom = special.ndtr((low + 3 * c * spread - mean) * root)
        return float(weight @ np.maximum(0.0, top - bottom))

    bound = _invert(chance_above, value, level)
    off = abs(mean - (low + high) / 2) if np.isfinite(high - low) else inf
    if off * sqrt(n) > -float(special.stdtrit(freedom, (1 - level) / 4)) * sd:
        return bound

    # In the middle both limits pull the sample index down, so the upper end is what a centred process
    # could have.
    def chance_centred(c: float) -> float:
        half = sqrt(n) * 3 * (c - value / ratio)
        return float(weight @ np.maximum(0.0, 2 * special.ndtr(half) - 1))

    reach = value + 1.0
    while chance_centred(reach) < (1 + level) / 2:
        reach *= 2
    upper = optimize.brentq(lambda c: chance_centred(c) - (1 + level) / 2, value, reach, xtol=1e-10)
    return Estimate(value, bound.lower, max(bound.upper, float(upper)), level, bound.method)


def _invert(chance_above: Callable[[float], float], value: float, level: float) -> Estimate:
    from scipy import optimize

    ends = []
    for wanted, way in (((1 + level) / 2, -1.0), ((1 - level) / 2, 1.0)):
        reach = 0.1 + abs(value) / 2
        while (chance_above(value + way * reach) - wanted) * way > 0:
            reach *= 2
        inner, outer = sorted((value - way * 0.5 * reach, value + way * reach))
        while (chance_above(inner) - wanted) * (chance_above(outer) - wanted) > 0:
            inner, outer = inner - reach, outer + reach
        ends.append(float(optimize.brentq(lambda c, w=wanted: chance_above(c) - w, inner, outer, xtol=1e-10)))
    return Estimate(value, ends[0], ends[1], level, "generalized pivotal quantities")


def _bound_share(
    mean: float, sd: float, n: float, freedom: float, low: float, high: float, level: float, value: float
) -> Estimate:
    count = 300
    u = (np.arange(count) + 0.5) / count
    spread = sd * np.sqrt(freedom / special.chdtri(freedom, u))[:, None]
    centre = mean + special.ndtri(u)[None, :] * spread / sqrt(n)
    share = special.ndtr((low - centre) / spread) + special.ndtr((centre - high) / spread)
    ends = np.quantile(share, [(1 - level) / 2, (1 + level) / 2])
    return Estimate(value, float(ends[0]), float(ends[1]), level, "generalized pivotal quantities")
