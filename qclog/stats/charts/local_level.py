"""A level that drifts: readings scatter about a level that takes a small random step from one to the next."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, pi

import numpy as np
import numpy.typing as npt

from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, centre_and_deviations, read_values


@dataclass(frozen=True, slots=True, eq=False)
class LocalLevel:
    """Variances (unit squared) of the scatter and of the level's steps, and the filtered level after each reading."""

    n: int
    scatter_variance: float
    step_variance: float
    log_likelihood: float
    level: Floats
    warnings: tuple[str, ...] = ()


@checked
def fit_local_level(values: npt.ArrayLike) -> LocalLevel:
    """Fit by maximum likelihood, knowing nothing of where the level began.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit, five or more.

    Raises
    ------
    TooFewError : fewer than 5. StatisticsError : see `series.read_values`.

    Source: Durbin & Koopman, Time Series Analysis by State Space Methods, chapter 2 (exact diffuse start).
    """
    from scipy import optimize

    array = read_values(values, minimum=5)
    mean, d = centre_and_deviations(array)
    n = int(array.size)
    total = float(d @ d)
    if total == 0:
        return LocalLevel(n, 0.0, 0.0, float("inf"), array.copy(), ("all readings are equal",))
    y = d.tolist()

    def loss(log_ratio: float) -> float:
        return -_filter(y, exp(log_ratio))[0]

    grid = np.linspace(-14, 8, 23)
    start = float(grid[int(np.argmin([loss(g) for g in grid]))])
    found = optimize.minimize_scalar(loss, bounds=(start - 1, start + 1), method="bounded", options={"xatol": 1e-9})
    ratio = exp(float(found.x))
    top, scatter, level = _filter(y, ratio)
    notes = ("no drift to be seen",) if found.x < -12 else ()
    return LocalLevel(n, scatter, scatter * ratio, top, mean + np.array(level), notes)


def _filter(y: list[float], ratio: float) -> tuple[float, float, list[float]]:
    """Log-likelihood with the scatter at its best, that scatter, and the filtered level, for one ratio of steps."""
    level, spread = y[0], 1.0
    levels, squares, logs = [level], 0.0, 0.0
    for value in y[1:]:
        spread += ratio
        width = spread + 1.0
        gap = value - level
        squares += gap * gap / width
        logs += log(width)
        gain = spread / width
        level += gain * gap
        spread *= 1 - gain
        levels.append(level)
    m = len(y) - 1
    scatter = squares / m
    top = -0.5 * (m * (1 + log(2 * pi) + log(scatter)) + logs) if scatter > 0 else float("inf")
    return top, scatter, levels
