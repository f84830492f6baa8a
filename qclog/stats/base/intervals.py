"""An estimate and how far it may be off."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy.typing as npt

from qclog.stats.base.gate import checked
from qclog.stats.base.series import centre_and_deviations, read_probability, read_values


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, and the interval that holds the true one with probability `confidence`."""

    value: float
    lower: float
    upper: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class NormalEstimates:
    """Mean and spread of a normal sample with exact intervals, in the unit of the readings."""

    n: int
    mean: Estimate
    sd: Estimate
    warnings: tuple[str, ...] = ()


@checked
def estimate_normal(values: npt.ArrayLike, *, confidence: float = 0.95) -> NormalEstimates:
    """Mean by Student's t and standard deviation by chi-square.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more, taken as a normal sample read without steps.
    confidence : of each two-sided interval.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`.

    Source: ISO 2854.
    """
    from scipy import special

    array = read_values(values, minimum=2)
    level = read_probability(confidence)
    n = int(array.size)
    mean, d = centre_and_deviations(array)
    squares = float(d @ d)
    sd = sqrt(squares / (n - 1))
    half = float(special.stdtrit(n - 1, (1 + level) / 2)) * sd / sqrt(n)
    lower = sqrt(squares / float(special.chdtri(n - 1, (1 - level) / 2)))
    upper = sqrt(squares / float(special.chdtri(n - 1, (1 + level) / 2)))
    notes = ("all readings are equal",) if squares == 0 else ()
    return NormalEstimates(
        n,
        Estimate(mean, mean - half, mean + half, level, "Student's t"),
        Estimate(sd, lower, upper, level, "chi-square"),
        notes,
    )
