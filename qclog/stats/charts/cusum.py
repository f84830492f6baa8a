"""Cumulative sums, two-sided and tabular: for a small shift that stays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes
from qclog.stats.base.series import Floats, read_number, read_values

_NODES = 120


@dataclass(frozen=True, slots=True, eq=False)
class CusumChart:
    """The two sums after each reading, in spreads of one reading; both are 0 or more.

    `signals` are places from 0 where a sum is above `limit`; `began` is where the sum that signalled first
    had last been 0, so the shift is likely to have come just after (-1: before the first reading).
    """

    n: int
    target: float
    sigma: float
    allowance: float
    limit: float
    head_start: float
    upper: Floats
    lower: Floats
    signals: tuple[int, ...]
    side: str
    began: int | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CusumSettings:
    """Allowance and limit in spreads of one reading, with the mean run lengths they give."""

    allowance: float
    limit: float
    false_alarm_every: float
    shift: float
    shift_found_after: float


@checked
def chart(
    values: npt.ArrayLike,
    target: float,
    sigma: float = 1.0,
    *,
    allowance: float = 0.5,
    limit: float | None = None,
    head_start: float = 0.0,
) -> CusumChart:
    """Sum up deviations from the target beyond an allowance, upward and downward.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    target : same unit. sigma : spread of one reading, above 0; 1 keeps the sums in the unit of the readings.
    allowance : k, half the shift to be found, in spreads, 0 or more.
    limit : h, in spreads, above 0; by default the one that gives a false alarm every 370 readings.
    head_start : where both sums begin, 0 up to the limit.

    Raises
    ------
    StatisticsError : see `series.read_values`; a setting out of range.

    Source: NIST e-Handbook 6.3.2.3 (tabular form); head start: Lucas & Crosier 1982.
    """
    array = read_values(values)
    target = read_number(target, "target")
    sigma = read_number(sigma, "sigma", above=0)
    allowance = read_number(allowance, "allowance", at_least=0)
    limit = choose_limit(allowance, 370.398) if limit is None else read_number(limit, "limit", above=0)
    head_start = _read_head_start(head_start, limit)
    z = (array - target) / sigma
    upper, lower = accumulate(z - allowance, head_start), accumulate(-z - allowance, head_start)
    outside = np.flatnonzero((upper > limit) | (lower > limit))
    side, began = "", None
    if outside.size:
        first = int(outside[0])
        rising = bool(upper[first] > limit)
        side = "high" if rising else "low"
        zeros = np.flatnonzero((upper if rising else lower)[:first] == 0)
        began = int(zeros[-1]) if zeros.size else -1
    return CusumChart(
        n=int(array.size),
        target=target,
        sigma=sigma,
        allowance=allowance,
        limit=limit,
        head_start=head_start,
        upper=upper,
        lower=lower,
        signals=tuple(outside.tolist()),
        side=side,
        began=began,
    )


def accumulate(steps: Floats, start: float = 0.0) -> Floats:
    """S[t] = max(0, S[t-1] + step[t]) from `start`, without a loop: the walk less its lowest point so far."""
    walk = start + np.cumsum(steps)
    lowest = np.minimum(np.minimum.accumulate(walk), 0.0) if walk.size else walk
    return np.asarray(walk - lowest, dtype=np.float64)


@checked
def average_run_length(
    allowance: float, limit: float, *, shift: float = 0.0, head_start: float = 0.0, sides: int = 2
) -> float:
    """Mean number of readings to a signal.

    Parameters
    ----------
    allowance, limit, head_start : as in `chart`, in spreads.
    shift : of the mean, in spreads; for one side, positive is towards the sum's own side.
    sides : 2 for both sums, 1 for the upper one alone.

    Raises
    ------
    StatisticsError : a setting out of range.

    Source: integral equation of Page 1954; the two sides joined as in Lucas & Crosier, Technometrics 24(3)
    1982.
    """
    allowance = read_number(allowance, "allowance", at_least=0)
    limit = read_number(limit, "limit", above=0)
    shift = read_number(shift, "shift")
    head_start = _read_head_start(head_start, limit)
    if sides not in (1, 2):
        raise StatisticsError("sides is 1 or 2", field="sides", found=sides, hint="give 1 or 2")
    up0, up = _one_side(allowance, limit, shift, head_start)
    if sides == 1:
        return up
    down0, down = _one_side(allowance, limit, -shift, head_start)
    # A side that never signals within the numbers a float holds leaves the other one alone.
    if not np.isfinite(down0) or down0 > 1e14:
        return up
    if not np.isfinite(up0) or up0 > 1e14:
        return down
    return (up * down0 + down * up0 - up0 * down0) / (up0 + down0)


@lru_cache(maxsize=4096)
def _one_side(allowance: float, limit: float, shift: float, head_start: float) -> tuple[float, float]:
    """Mean run length of the upper sum from 0 and from the head start."""
    node, share = legendre_nodes(_NODES)
    y, weight = limit * (node + 1) / 2, limit * share / 2
    drift = allowance - shift

    def density(z: Floats) -> Floats:
        return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * np.pi), dtype=np.float64)

    system = np.zeros((_NODES + 1, _NODES + 1))
    origin = np.append(y, 0.0)
    system[:, :_NODES] = -density(y[None, :] - origin[:, None] + drift) * weight
    system[:, _NODES] = -special.ndtr(drift - origin)
    system += np.eye(_NODES + 1)
    answer = np.linalg.solve(system, np.ones(_NODES + 1))
    from_zero = float(answer[_NODES])
    if head_start == 0:
        return _positive(from_zero), _positive(from_zero)
    from_start = 1 + float(special.ndtr(drift - head_start)) * from_zero
    from_start += float((density(y - head_start + drift) * weight) @ answer[:_NODES])
    return _positive(from_zero), _positive(from_start)


def _positive(mean: float) -> float:
    return mean if mean >= 1 else float("inf")


@checked
@lru_cache(maxsize=512)
def choose_limit(allowance: float, false_alarm_every: float, *, sides: int = 2) -> float:
    """The limit, in spreads, that gives a false alarm every so many readings on average.

    Raises
    ------
    StatisticsError : a setting out of range.
    """
    from scipy import optimize

    allowance = read_number(allowance, "allowance", at_least=0)
    wanted = read_number(false_alarm_every, "false_alarm_every", above=2)
    highest = 2.0
    while average_run_length(allowance, highest, sides=sides) < wanted:
        highest *= 1.5
    return float(
        optimize.brentq(lambda h: average_run_length(allowance, h, sides=sides) - wanted, 1e-9, highest, xtol=1e-9)
    )


@checked
def choose_settings(false_alarm_every: float, *, shift: float = 1.0) -> CusumSettings:
    """Allowance (half the shift to be found) and limit for a wanted false-alarm interval.

    Parameters
    ----------
    false_alarm_every : readings between false alarms, on average, above 2.
    shift : to be found, in spreads of one reading, above 0.

    Raises
    ------
    StatisticsError : a setting out of range.
    """
    shift = read_number(shift, "shift", above=0)
    limit = choose_limit(shift / 2, false_alarm_every)
    found = average_run_length(shift / 2, limit, shift=shift)
    return CusumSettings(shift / 2, limit, float(false_alarm_every), shift, found)


def _read_head_start(head_start: float, limit: float) -> float:
    number = read_number(head_start, "head_start", at_least=0)
    if number > limit:
        raise StatisticsError(
            "head_start is above the limit", field="head_start", found=head_start, hint=f"at most {limit:g}"
        )
    return number
