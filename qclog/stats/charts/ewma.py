"""Exponentially weighted moving average: for shifts too small to see one reading at a time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes
from qclog.stats.base.series import Floats, read_number, read_values

_TIME_STEPS = 5000


@dataclass(frozen=True, slots=True, eq=False)
class EwmaChart:
    """The average after each reading and its limits, in the unit of the readings; `signals` are places."""

    n: int
    target: float
    sigma: float
    weight: float
    factor: float
    exact: bool
    averages: Floats
    lower: Floats
    upper: Floats
    signals: tuple[int, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EwmaSettings:
    """Weight of the newest reading and factor of the limits, with the mean run lengths they give."""

    weight: float
    factor: float
    false_alarm_every: float
    shift: float
    shift_found_after: float


@checked
def chart(
    values: npt.ArrayLike,
    target: float,
    sigma: float,
    *,
    weight: float = 0.2,
    factor: float | None = None,
    exact: bool = True,
    start: float | None = None,
) -> EwmaChart:
    """Average a series with weights that fade, and set limits for the average.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    target : centre. sigma : spread of one reading, above 0. start : of the average, the target by default.
    weight : of the newest reading, above 0 up to 1.
    factor : of the limits; by default the one that gives a false alarm every 370 readings (asymptotic
        limits).
    exact : limits that widen from the start as the average gathers readings; False draws the final width.

    Raises
    ------
    StatisticsError : see `series.read_values`; a setting out of range.

    Source: NIST e-Handbook 6.3.2.4; Lucas & Saccucci, Technometrics 32(1) 1990.
    """
    from scipy import signal

    array = read_values(values)
    weight = _read_weight(weight)
    target = read_number(target, "target")
    sigma = read_number(sigma, "sigma", above=0)
    factor = choose_factor(weight, 370.398) if factor is None else read_number(factor, "factor", above=0)
    begin = 0.0 if start is None else read_number(start, "start") - target
    averages, _ = signal.lfilter([weight], [1.0, weight - 1.0], array - target, zi=np.array([(1 - weight) * begin]))
    width = np.full(array.size, factor * sigma * sqrt(weight / (2 - weight)))
    if exact:
        faded = (1 - weight) ** (2 * np.arange(1, array.size + 1, dtype=np.float64))
        width = width * np.sqrt(1 - faded)
    outside = np.flatnonzero(np.abs(averages) > width)
    return EwmaChart(
        n=int(array.size),
        target=target,
        sigma=sigma,
        weight=weight,
        factor=factor,
        exact=exact,
        averages=target + averages,
        lower=target - width,
        upper=target + width,
        signals=tuple(outside.tolist()),
    )


@checked
def average_run_length(weight: float, factor: float, *, shift: float = 0.0, exact: bool = False) -> float:
    """Mean number of readings to a signal, both sides, starting on target.

    Parameters
    ----------
    weight, factor : as in `chart`.
    shift : of the mean, in spreads of one reading.
    exact : for the limits that widen from the start; False for the final width.

    Raises
    ------
    StatisticsError : a setting out of range.

    Source: integral equation of Crowder, Technometrics 29(4) 1987; values in Lucas & Saccucci 1990.
    """
    weight = _read_weight(weight)
    factor = read_number(factor, "factor", above=0)
    shift = read_number(shift, "shift")
    return _mean_run(weight, factor, shift, bool(exact))


@lru_cache(maxsize=4096)
def _mean_run(weight: float, factor: float, shift: float, exact: bool) -> float:
    unit = sqrt(weight / (2 - weight))
    half = factor * unit
    count = max(60, ceil(14 * factor / sqrt(weight)))
    node, share = legendre_nodes(min(count, 600))

    def step(from_half: float, to_half: float) -> Floats:
        origin, goal = from_half * node, to_half * node
        z = (goal[None, :] - (1 - weight) * origin[:, None]) / weight - shift
        return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * np.pi) / weight * to_half * share[None, :], dtype=np.float64)

    onward = np.linalg.solve(np.eye(node.size) - step(half, half), np.ones(node.size))
    if not exact:
        z = half * node / weight - shift
        return float(1 + np.exp(-(z**2) / 2) / sqrt(2 * np.pi) / weight * half * share @ onward)
    # Walk through the widening limits until they have their final width, then go on as if they always had.
    width = half * np.sqrt(1 - (1 - weight) ** (2 * np.arange(1, _TIME_STEPS + 1, dtype=np.float64)))
    z = width[0] * node / weight - shift
    mass = np.exp(-(z**2) / 2) / sqrt(2 * np.pi) / weight * width[0] * share
    total = 1.0
    for before, after in pairwise(width.tolist()):
        if half - before < 1e-9 * half or mass.sum() < 1e-14:
            break
        total += float(mass.sum())
        mass = mass @ step(before, after)
    return total + float(mass @ onward)


@checked
@lru_cache(maxsize=512)
def choose_factor(weight: float, false_alarm_every: float) -> float:
    """The factor of the (final) limits that gives a false alarm every so many readings on average.

    Raises
    ------
    StatisticsError : `weight` outside 0 to 1, or an interval of 2 or less.
    """
    from scipy import optimize

    weight = _read_weight(weight)
    wanted = read_number(false_alarm_every, "false_alarm_every", above=2)
    highest = max(1.0, -float(special.ndtri(0.25 / wanted)))
    while _mean_run(weight, highest, 0.0, False) < wanted:
        highest *= 1.2
    return float(optimize.brentq(lambda f: _mean_run(weight, f, 0.0, False) - wanted, 0.1, highest, xtol=1e-8))


@checked
def choose_settings(false_alarm_every: float, *, shift: float = 1.0, weight: float | None = None) -> EwmaSettings:
    """Weight and factor for a wanted false-alarm interval that find a shift soonest.

    Parameters
    ----------
    false_alarm_every : readings between false alarms, on average, above 2.
    shift : to be found, in spreads of one reading, above 0.
    weight : to keep a weight and only choose the factor.

    Raises
    ------
    StatisticsError : a setting out of range.
    """
    from scipy import optimize

    wanted = read_number(false_alarm_every, "false_alarm_every", above=2)
    shift = read_number(shift, "shift", above=0)

    def delay(w: float) -> float:
        return _mean_run(w, choose_factor(w, wanted), shift, False)

    if weight is None:
        best = optimize.minimize_scalar(delay, bounds=(0.02, 1.0), method="bounded", options={"xatol": 2e-3})
        weight = round(float(best.x), 3)
    weight = _read_weight(weight)
    factor = choose_factor(weight, wanted)
    return EwmaSettings(weight, factor, wanted, shift, delay(weight))


def _read_weight(weight: float) -> float:
    number = read_number(weight, "weight", above=0)
    if number > 1:
        raise StatisticsError("weight is at most 1", field="weight", found=weight, hint="give 0.05 to 1")
    return number
