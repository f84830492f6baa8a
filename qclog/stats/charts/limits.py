"""Limits for single readings: from moving ranges, and exact prediction limits when there are few."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.base import constants
from qclog.stats.base.gate import checked
from qclog.stats.base.series import centre_and_deviations, read_number, read_probability, read_values

Average = Literal["mean", "median"]


@dataclass(frozen=True, slots=True)
class IndividualsLimits:
    """Limits for single readings and for their moving range, in the unit of the readings.

    `constant` is what the average moving range was divided by to get `sigma`; `enough` says whether `n`
    reached the number wanted before limits are relied on.
    """

    n: int
    centre: float
    sigma: float
    lower: float
    upper: float
    mean_moving_range: float
    median_moving_range: float
    moving_range_upper: float
    factor: float
    method: str
    constant: float
    minimum: int
    enough: bool
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PredictionLimits:
    """Where the next single reading falls with probability 1 - `false_alarm`, in the unit of the readings.

    `factor` times `sd` is the half-width.
    """

    n: int
    centre: float
    sd: float
    lower: float
    upper: float
    factor: float
    false_alarm: float
    warnings: tuple[str, ...] = ()


@checked
def individuals(
    values: npt.ArrayLike,
    *,
    moving_range: Average = "mean",
    factor: float = 3.0,
    exact: bool = True,
    minimum: int = 10,
    d2: float | None = None,
) -> IndividualsLimits:
    """Set limits for single readings from the ranges between neighbours.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, two or more.
    moving_range : "mean", or "median", which a few wild readings do not stretch.
    factor : half-width in spreads.
    exact : the constants from their integrals; False rounds them to the three decimals of printed tables.
    minimum : below this many the result says `enough=False` and warns.
    d2 : the constant to use instead, for example 1.128 to repeat a printed example.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`, or a setting out of range.

    Source: ISO 7870-2; NIST e-Handbook 6.3.2.2. The moving-range limit is centre + factor times its own
    spread.
    """
    array = read_values(values, minimum=2)
    read_number(factor, "factor", above=0)
    if moving_range not in ("mean", "median"):
        raise StatisticsError(
            "unknown average", field="moving_range", found=moving_range, hint='give "mean" or "median"'
        )
    constant = constants.d2(2) if moving_range == "mean" else constants.MEDIAN_MOVING_RANGE
    spread_ratio = constants.range_limits(2, factor)[1]
    if not exact:
        constant, spread_ratio = round(constant, 3), round(spread_ratio, 3)
    if d2 is not None:
        constant = read_number(d2, "d2", above=0)
    centre, _ = centre_and_deviations(array)
    ranges = np.abs(np.diff(array))
    mean_range, median_range = float(ranges.mean()), float(np.median(ranges))
    average = mean_range if moving_range == "mean" else median_range
    sigma = average / constant
    range_centre = mean_range if moving_range == "mean" else sigma * constants.d2(2)
    n = int(array.size)
    notes = _few(n, minimum)
    if mean_range == 0:
        notes.append("all readings are equal, so the limits have no width")
    elif average == 0:
        notes.append("more than half of the neighbours are equal, so this average says nothing: use the mean")
    return IndividualsLimits(
        n=n,
        centre=centre,
        sigma=sigma,
        lower=centre - factor * sigma,
        upper=centre + factor * sigma,
        mean_moving_range=mean_range,
        median_moving_range=median_range,
        moving_range_upper=spread_ratio * range_centre,
        factor=factor,
        method=f"{moving_range} moving range",
        constant=constant,
        minimum=minimum,
        enough=n >= minimum,
        warnings=tuple(notes),
    )


@checked
def prediction(values: npt.ArrayLike, *, false_alarm: float = 0.0027) -> PredictionLimits:
    """Limits for the next single reading that are right from the third unit on, whatever `n`.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more, taken as a normal sample.
    false_alarm : probability that the next reading of an unchanged process falls outside.

    Returns
    -------
    PredictionLimits : mean +/- t sd sqrt(1 + 1/n), Student's t with n - 1 degrees of freedom.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`, or `false_alarm` outside 0 to 1.

    Source: ISO 16269-8 (prediction intervals, one future observation).
    """
    from scipy import special

    array = read_values(values, minimum=2)
    alpha = read_probability(false_alarm, "false_alarm")
    centre, deviations = centre_and_deviations(array)
    n = int(array.size)
    sd = sqrt(float(deviations @ deviations) / (n - 1))
    factor = -float(special.stdtrit(n - 1, alpha / 2)) * sqrt(1 + 1 / n)
    notes = ("all readings are equal, so the limits have no width",) if sd == 0 else ()
    return PredictionLimits(n, centre, sd, centre - factor * sd, centre + factor * sd, factor, alpha, notes)


def _few(n: int, minimum: int) -> list[str]:
    return [f"too few to set limits: {n} of {minimum}"] if n < minimum else []
