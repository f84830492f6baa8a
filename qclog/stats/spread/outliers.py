"""Readings that don't belong: Grubbs for one, generalized extreme deviates for up to so many, Tietjen-Moore for k."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import (
    Floats,
    centre_and_deviations,
    in_batches,
    read_probability,
    read_trials,
    read_values,
)

Side = Literal["both", "high", "low"]
_SEED = 20_240_302


@dataclass(frozen=True, slots=True)
class GrubbsTest:
    """The furthest reading (`suspect`, at `place` from 0) in standard deviations, and what chance allows."""

    n: int
    suspect: float
    place: int
    statistic: float
    critical: float
    p_value: float
    outlier: bool
    side: Side
    significance: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ExtremeDeviates:
    """Each step's statistic and critical value; `places` (from 0) and `outliers` are those found, furthest first."""

    n: int
    statistics: tuple[float, ...]
    criticals: tuple[float, ...]
    places: tuple[int, ...]
    outliers: tuple[float, ...]
    significance: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TietjenMooreTest:
    """Share of the sum of squares left without the k suspects; small speaks for outliers. Critical by simulation."""

    n: int
    suspects: tuple[float, ...]
    statistic: float
    critical: float
    outliers: bool
    side: Side
    significance: float
    warnings: tuple[str, ...] = ()


@checked
def judge_furthest(values: npt.ArrayLike, *, side: Side = "both", significance: float = 0.05) -> GrubbsTest:
    """Grubbs' test for one outlier.

    Parameters
    ----------
    values : one-dimensional, any unit, three or more, normal but for the outlier.
    side : "both", "high" or "low".
    significance : chance of naming one where there is none.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; unknown side.

    Source: Grubbs, Technometrics 11 (1969); NIST e-Handbook 1.3.5.17.1. The p-value is Bonferroni's bound.
    """
    array = read_values(values, minimum=3)
    alpha = read_probability(significance, "significance")
    n = int(array.size)
    _, d = centre_and_deviations(array)
    distance = _distance(d, side)
    place = int(np.argmax(distance))
    sides = 2 if side == "both" else 1
    critical = _critical(n, alpha / (sides * n))
    sd = sqrt(float(d @ d) / (n - 1))
    if sd == 0:
        return GrubbsTest(n, float(array[0]), 0, 0.0, critical, 1.0, False, side, alpha, ("all readings are equal",))
    g = float(distance[place]) / sd
    room = (n - 1) ** 2 / n - g * g
    t = g * sqrt((n - 2) / room) if room > 1e-12 else float("inf")
    p = min(1.0, sides * n * float(special.stdtr(n - 2, -t)))
    return GrubbsTest(n, float(array[place]), place, g, critical, p, g > critical, side, alpha)


@checked
def find_extreme_deviates(values: npt.ArrayLike, most: int = 10, *, significance: float = 0.05) -> ExtremeDeviates:
    """Look for up to `most` outliers, none hiding behind another.

    Parameters
    ----------
    values : one-dimensional, any unit, normal but for the outliers.
    most : suspects to try; at most n - 2 are.
    significance : chance of naming any where there is none.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; `most` below 1.

    Source: Rosner, Technometrics 25(2) 1983, 165-172; NIST e-Handbook 1.3.5.17.3.
    """
    array = read_values(values, minimum=3)
    alpha = read_probability(significance, "significance")
    if most < 1:
        raise StatisticsError("at least one suspect", field="most", found=most, hint="give 1 or more")
    n = int(array.size)
    places = np.arange(n)
    statistics, criticals, order = [], [], []
    for i in range(1, min(most, n - 2) + 1):
        _, d = centre_and_deviations(array[places])
        sd = sqrt(float(d @ d) / (d.size - 1))
        if sd == 0:
            break
        at = int(np.argmax(np.abs(d)))
        statistics.append(float(abs(d[at])) / sd)
        criticals.append(_critical(n - i + 1, alpha / (2 * (n - i + 1))))
        order.append(int(places[at]))
        places = np.delete(places, at)
    beyond = [i + 1 for i, (r, c) in enumerate(zip(statistics, criticals, strict=True)) if r > c]
    found = tuple(order[: beyond[-1]]) if beyond else ()
    notes = []
    if n < 15:
        notes.append("fewer than 15 readings: the critical values are only approximate")
    if np.ptp(array) == 0:
        notes.append("all readings are equal")
    return ExtremeDeviates(
        n,
        tuple(statistics),
        tuple(criticals),
        found,
        tuple(float(array[p]) for p in found),
        alpha,
        tuple(notes),
    )


@checked
def judge_several(
    values: npt.ArrayLike, suspects: int, *, side: Side = "both", significance: float = 0.05, trials: int = 10_000
) -> TietjenMooreTest:
    """Tietjen and Moore's test for exactly `suspects` outliers.

    Parameters
    ----------
    values : one-dimensional, any unit, normal but for the outliers.
    suspects : how many, from 1 to n - 2.
    side, significance : as for `judge_furthest`. trials : seeded normal samples for the critical value.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; too many suspects.

    Source: Tietjen & Moore, Technometrics 14 (1972); NIST e-Handbook 1.3.5.17.2.
    """
    array = read_values(values, minimum=3)
    alpha = read_probability(significance, "significance")
    n = int(array.size)
    if not 1 <= suspects <= n - 2:
        raise StatisticsError(
            "that many can't be outliers", field="suspects", found=suspects, hint=f"give 1 to {n - 2}"
        )
    _, d = centre_and_deviations(array)
    order = np.argsort(_distance(d, side), kind="stable")
    named = tuple(float(v) for v in array[order[::-1][:suspects]])
    if np.ptp(array) == 0:
        return TietjenMooreTest(n, named, 1.0, 0.0, False, side, alpha, ("all readings are equal",))
    statistic = float(_left_over(d[None, :], suspects, side)[0])
    rng = np.random.default_rng(_SEED)
    left = [_left_over(rng.normal(size=(some, n)), suspects, side) for some in in_batches(read_trials(trials), n)]
    critical = float(np.quantile(np.concatenate(left), alpha))
    return TietjenMooreTest(n, named, statistic, critical, statistic < critical, side, alpha)


def _left_over(samples: Floats, suspects: int, side: Side) -> Floats:
    d = samples - samples.mean(axis=1, keepdims=True)
    order = np.argsort(_distance(d, side), axis=1, kind="stable")
    kept = np.take_along_axis(d, order, axis=1)[:, :-suspects]
    kept = kept - kept.mean(axis=1, keepdims=True)
    return np.asarray((kept**2).sum(axis=1) / (d**2).sum(axis=1), dtype=np.float64)


def _distance(d: Floats, side: Side) -> Floats:
    if side == "both":
        return np.abs(d)
    if side == "high":
        return d
    if side == "low":
        return -d
    raise StatisticsError("unknown side", field="side", found=side, hint='give "both", "high" or "low"')


def _critical(n: int, tail: float) -> float:
    """Largest distance of `n` readings, in standard deviations, whose single-reading chance is `tail`."""
    t = -float(special.stdtrit(n - 2, tail))
    return (n - 1) / sqrt(n) * sqrt(t * t / (n - 2 + t * t))
