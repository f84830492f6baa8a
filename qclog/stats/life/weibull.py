"""Weibull life by maximum likelihood, with units that still run."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import Bools, Floats, in_batches, read_probability, read_trials
from qclog.stats.life.survival import read_life

_SEED = 20_240_305


@dataclass(frozen=True, slots=True)
class WeibullLife:
    """`slope` (below 1: early failures, above 1: wear) and `scale`, the life by which 63.2 % have failed.

    `exponential_mean` is total time over failures, the mean life if the slope were 1. Times in the unit given.
    """

    n: int
    failures: int
    slope: Estimate
    scale: Estimate
    log_likelihood: float
    exponential_mean: float
    warnings: tuple[str, ...] = ()

    def share_failed(self, time: float) -> float:
        """Share failed by a time, in the unit of the fit."""
        return float(-np.expm1(-((time / self.scale.value) ** self.slope.value)))

    def life(self, share: float) -> float:
        """Time by which a share between 0 and 1 has failed, in the unit of the fit."""
        return float(self.scale.value * (-np.log1p(-share)) ** (1 / self.slope.value))


@checked
def fit_weibull(
    times: npt.ArrayLike, failed: npt.ArrayLike | None = None, *, confidence: float = 0.95, trials: int = 2000
) -> WeibullLife:
    """Fit slope and scale.

    Parameters
    ----------
    times : one-dimensional, above 0, any unit: to failure, or to the last time seen running.
    failed : for each, whether it failed; all of them by default.
    confidence : of the intervals.
    trials : seeded samples behind the intervals.

    Returns
    -------
    WeibullLife : intervals from how slope* / slope and slope* ln(scale* / scale) fall in samples of the fitted
        life; exact when every unit has failed.

    Raises
    ------
    TooFewError : fewer than 2 different failure times. StatisticsError : see `survival.read_life`; a time of 0.

    Source: maximum likelihood as in Nelson, Applied Life Data Analysis (1982); the pivots of Thoman, Bain &
    Antle, Technometrics 11 (1969).
    """
    t, event = read_life(times, np.ones(np.size(times), dtype=bool) if failed is None else failed)
    level = read_probability(confidence)
    if bool((t <= 0).any()):
        raise StatisticsError("a life of 0 fits no Weibull", field="times", found=0.0, hint="give the true time")
    failures = int(event.sum())
    if np.unique(t[event]).size < 2:
        raise TooFewError(
            f"two failures at different times are the least, and there are {failures}",
            field="failed",
            found=failures,
            hint="too few to say",
        )
    middle = float(np.exp(np.log(t).mean()))
    logs = np.log(t / middle)
    slopes, scales = _solve(logs[None, :], event[None, :])
    slope, log_scale = float(slopes[0]), float(scales[0])
    top = float(
        failures * (log(slope) - slope * log_scale)
        + (slope - 1) * logs[event].sum()
        - np.exp(slope * (logs - log_scale)).sum()
        - failures * log(middle)
    )
    rng = np.random.default_rng(_SEED)
    found = [
        _solve_again(*_resample(logs, event, slope, log_scale, some, rng))
        for some in in_batches(read_trials(trials), int(t.size))
    ]
    again, shifts = np.concatenate([a for a, _ in found]), np.concatenate([s for _, s in found])
    if again.size == 0:
        raise TooFewError("no sample had two failures", field="trials", found=trials, hint="give more trials")
    tail = (1 - level) / 2
    ratio_low, ratio_high = np.quantile(again / slope, [tail, 1 - tail])
    pivot_low, pivot_high = np.quantile(again * (shifts - log_scale), [tail, 1 - tail])
    name = "simulated pivots"
    scale = middle * float(np.exp(log_scale))
    notes = []
    if failures < 5:
        notes.append(f"{failures} failures: the intervals are wide and rough")
    if again.size < 0.99 * trials:
        notes.append("some samples had too few failures, so the intervals are rough")
    return WeibullLife(
        n=int(t.size),
        failures=failures,
        slope=Estimate(slope, slope / float(ratio_high), slope / float(ratio_low), level, name),
        scale=Estimate(
            scale,
            scale * float(np.exp(-pivot_high / slope)),
            scale * float(np.exp(-pivot_low / slope)),
            level,
            name,
        ),
        log_likelihood=top,
        exponential_mean=float(t.sum()) / failures,
        warnings=tuple(notes),
    )


def _solve(logs: Floats, event: Bools) -> tuple[Floats, Floats]:
    """Slope and log scale of each row, by Newton's method on the log slope, which has one root."""
    count = event.sum(axis=1)
    target = (logs * event).sum(axis=1) / count
    spread = logs.std(axis=1)
    at = np.log(1.28 / np.maximum(spread, 1e-12))
    top = logs.max(axis=1, keepdims=True)
    for _ in range(100):
        slope = np.exp(at)
        weight = np.exp(slope[:, None] * (logs - top))
        total = weight.sum(axis=1)
        mean = (weight * logs).sum(axis=1) / total
        square = (weight * logs**2).sum(axis=1) / total - mean**2
        miss = mean - 1 / slope - target
        step = -miss / (slope * square + 1 / slope)
        at = at + np.clip(step, -1.5, 1.5)
        if float(np.abs(step).max()) < 1e-12:
            break
    slope = np.exp(at)
    total = np.exp(slope[:, None] * (logs - top)).sum(axis=1)
    return slope, top[:, 0] + np.log(total / count) / slope


def _solve_again(samples: Floats, marks: Bools) -> tuple[Floats, Floats]:
    """Slope and log scale of the samples that have two failures or more."""
    usable = marks.sum(axis=1) >= 2
    return _solve(samples[usable], marks[usable])


def _resample(
    logs: Floats, event: Bools, slope: float, log_scale: float, trials: int, rng: np.random.Generator
) -> tuple[Floats, Bools]:
    """Samples of the fitted life, seen as long as the readings were.

    A unit that still runs is seen so long again; for one that failed, the time it would have been seen is drawn
    from those of the running units that outlasted it (for ever, if none did).
    """
    n = logs.size
    lives = log_scale + np.log(rng.exponential(size=(trials, n))) / slope
    limits = np.tile(np.where(event, np.inf, logs), (trials, 1))
    running = np.sort(logs[~event])
    first = np.searchsorted(running, logs, side="right")  # of those that outlasted each
    drawn = np.flatnonzero(event & (first < running.size))
    if drawn.size:
        later = running.size - first[drawn]
        limits[:, drawn] = running[first[drawn] + rng.integers(later, size=(trials, drawn.size))]
    marks = lives <= limits
    return np.minimum(lives, limits), marks
