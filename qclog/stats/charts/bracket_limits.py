"""Limits for single readings that are brackets: from the likelihood on intervals, and judged as brackets."""

from __future__ import annotations

from math import inf, sqrt

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import read_number, read_probability
from qclog.stats.charts.limits import IndividualsLimits, PredictionLimits
from qclog.stats.rounded.coarse import keep_information
from qclog.stats.rounded.interval_fit import IntervalFit, fit_normal, read_intervals


@checked
def individuals_from_brackets(
    lower: npt.ArrayLike, upper: npt.ArrayLike, *, factor: float = 3.0, minimum: int = 10
) -> IndividualsLimits:
    """Limits for single readings from the normal fitted to their brackets.

    Parameters
    ----------
    lower, upper : one-dimensional, one unit; equal for an exact reading, infinite for an open end.
    factor : half-width in spreads. minimum : below this many the result says `enough=False` and warns.

    Returns
    -------
    IndividualsLimits : `sigma` is of all readings together, so a baseline that shifts makes it too wide;
        moving ranges are NaN, as brackets have none. `constant` is 1.

    Raises
    ------
    TooFewError, StatisticsError : see `interval_fit.fit_normal`.
    """
    read_number(factor, "factor", above=0)
    fit = fit_normal(lower, upper)
    sigma = fit.sd_unbiased
    notes = list(fit.warnings)
    if fit.n < minimum:
        notes.insert(0, f"too few to set limits: {fit.n} of {minimum}")
    if sigma == 0:
        notes.append("too coarse to chart: the steps hide all of the spread")
    nothing = float("nan")
    return IndividualsLimits(
        n=fit.n,
        centre=fit.mean.value,
        sigma=sigma,
        lower=fit.mean.value - factor * sigma,
        upper=fit.mean.value + factor * sigma,
        mean_moving_range=nothing,
        median_moving_range=nothing,
        moving_range_upper=nothing,
        factor=factor,
        method="likelihood on intervals",
        constant=1.0,
        minimum=minimum,
        enough=fit.n >= minimum,
        warnings=tuple(notes),
    )


@checked
def prediction_from_brackets(
    lower: npt.ArrayLike, upper: npt.ArrayLike, *, false_alarm: float = 0.0027
) -> PredictionLimits:
    """Limits for the next true value when all that is known are brackets of those before.

    Parameters
    ----------
    lower, upper : one-dimensional, one unit, closed brackets; equal for an exact reading.
    false_alarm : probability that the next value of an unchanged process falls outside, about.

    Returns
    -------
    PredictionLimits : as `limits.prediction`, with the readings counted for what their steps leave of
        them. With no spread to be seen the upper bound of the spread is used, so the limits are wide
        rather than false.

    Raises
    ------
    TooFewError, StatisticsError : see `interval_fit.fit_normal`; an open bracket.
    """
    from scipy import special

    low, high = read_intervals(lower, upper)
    alpha = read_probability(false_alarm, "false_alarm")
    width = high - low
    if not bool(np.isfinite(width).all()):
        raise StatisticsError("an open bracket bounds no limit", field="lower, upper", hint="leave it out here")
    fit = fit_normal(low, high)
    sd, notes = _usable_sd(fit)
    kept = keep_information(sd, float(np.sqrt((width**2).mean())))
    n, freedom = max(1.0, fit.n * kept), max(1.0, (fit.n - 1) * kept**2)
    factor = -float(special.stdtrit(freedom, alpha / 2)) * sqrt(1 + 1 / n)
    centre = fit.mean.value
    return PredictionLimits(fit.n, centre, sd, centre - factor * sd, centre + factor * sd, factor, alpha, notes)


@checked
def mark_beyond(
    limits: IndividualsLimits | PredictionLimits, lower: npt.ArrayLike, upper: npt.ArrayLike
) -> npt.NDArray[np.bool_]:
    """Mark the brackets that lie wholly beyond a limit; one that straddles it proves nothing.

    Raises
    ------
    StatisticsError : see `interval_fit.read_intervals`.
    """
    low, high = read_intervals(lower, upper)
    return np.asarray((low > limits.upper) | (high < limits.lower), dtype=np.bool_)


def _usable_sd(fit: IntervalFit) -> tuple[float, tuple[str, ...]]:
    if fit.sd_unbiased > 0:
        return fit.sd_unbiased, fit.warnings
    if not 0 < fit.sd.upper < inf:
        raise StatisticsError("no spread to be seen", field="lower, upper", hint="use a finer gauge")
    return fit.sd.upper, (*fit.warnings, "the largest spread that fits was used")
