"""Which readings go with comebacks? Logistic regression with Firth's penalty, fit for few events."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import Floats, read_probability, read_values


@dataclass(frozen=True, slots=True)
class RiskFactor:
    """What one unit of a reading (or one standard deviation of it) does to the odds of a comeback.

    `odds_ratio` is per unit; `per_sd` the value per standard deviation; the p-value by penalised likelihood ratio.
    """

    name: str
    log_odds: Estimate
    odds_ratio: Estimate
    per_sd: float
    p_value: float


@dataclass(frozen=True, slots=True)
class RiskModel:
    """All factors together. `intercept` is the log odds at the mean of every factor."""

    n: int
    events: int
    intercept: float
    factors: tuple[RiskFactor, ...]
    log_likelihood: float
    means: tuple[float, ...]
    warnings: tuple[str, ...] = ()

    def chance(self, readings: Sequence[float]) -> float:
        """Chance of a comeback for one unit's readings, in the order of `factors`."""
        gaps = [v - m for v, m in zip(readings, self.means, strict=True)]
        score = self.intercept + sum(f.log_odds.value * g for f, g in zip(self.factors, gaps, strict=True))
        return float(special.expit(score))


@checked
def relate_to_comebacks(
    readings: Sequence[npt.ArrayLike],
    comeback: npt.ArrayLike,
    names: Sequence[str] | None = None,
    *,
    confidence: float = 0.95,
    asked: Collection[str] | None = None,
) -> RiskModel:
    """Fit log odds of a comeback on readings.

    Parameters
    ----------
    readings : one series for each factor, any units, all as long as `comeback`.
    comeback : for each unit, whether it came back.
    names : of the factors.
    confidence : of the profile intervals.
    asked : names of the factors to tell of, where the others are only to be allowed for; None: all.

    Raises
    ------
    TooFewError : fewer than 3 comebacks, 3 others, or 2 events for each factor.
    StatisticsError : see `series.read_values`; a factor that never varies or repeats others; unequal lengths.

    Source: Firth, Biometrika 80 (1993); Heinze & Schemper, Statistics in Medicine 21 (2002) (finite even where
    one reading separates the comebacks completely).
    """
    level = read_probability(confidence)
    y = np.asarray(comeback)
    if y.ndim != 1 or not bool(np.isin(y, (0, 1)).all()):
        raise StatisticsError("comeback is yes or no", field="comeback", hint="give True or False for each unit")
    outcome = y.astype(np.float64)
    names = tuple(names) if names is not None else tuple(f"factor {i + 1}" for i in range(len(readings)))
    if len(names) != len(readings) or not readings:
        raise StatisticsError("one name for each factor", field="names", found=len(names))
    columns = [read_values(r, name) for r, name in zip(readings, names, strict=True)]
    n, events = int(y.size), int(outcome.sum())
    if any(c.size != n for c in columns):
        raise StatisticsError("a factor is not as long as comeback", field="readings", hint=f"give {n} for each")
    scarce = min(events, n - events)
    if scarce < max(3, 2 * len(columns)):
        raise TooFewError(
            f"too few to say: {events} comebacks among {n} for {len(columns)} factors",
            field="comeback",
            found=events,
            hint="fewer factors, or more time",
        )
    means = [float(c.mean()) for c in columns]
    sds = [float(c.std(ddof=1)) for c in columns]
    if min(sds) == 0:
        raise StatisticsError("a factor never varies", field=names[sds.index(0.0)], hint="leave it out")
    design = np.column_stack([np.ones(n), *((c - m) / s for c, m, s in zip(columns, means, sds, strict=True))])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise StatisticsError("a factor repeats the others", field="readings", hint="leave one out")
    free = np.ones(design.shape[1], dtype=bool)
    top = _fit(design, outcome, np.zeros(design.shape[1]), free)
    cut = float(special.chdtri(1, 1 - level))
    factors = []
    for j, (name, s) in enumerate(zip(names, sds, strict=True), start=1):
        if asked is not None and name not in asked:
            continue
        p = float(special.chdtrc(1, _Profile(design, outcome, top, j).fall(0.0)[0]))
        low, high = (_Profile(design, outcome, top, j).end(cut, way) for way in (-1.0, 1.0))
        per_unit = [float(v) / s for v in (top.beta[j], low, high)]
        log_odds = Estimate(per_unit[0], per_unit[1], per_unit[2], level, "penalised profile likelihood")
        odds = np.exp(np.clip(per_unit, -700, 700))
        ratio = Estimate(float(odds[0]), float(odds[1]), float(odds[2]), level, log_odds.method)
        factors.append(RiskFactor(name, log_odds, ratio, float(np.exp(top.beta[j])), p))
    notes = []
    if scarce < 10 * len(columns):
        notes.append(f"{events} comebacks for {len(columns)} factors: take it as a hint")
    return RiskModel(n, events, float(top.beta[0]), tuple(factors), top.value, tuple(means), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Fit:
    """A penalised maximum: the coefficients and its value; there, the slopes by them and their covariances."""

    beta: Floats
    value: float
    slope: Floats
    covariance: Floats


def _fit(design: Floats, outcome: Floats, start: Floats, free: npt.NDArray[np.bool_]) -> _Fit:
    """Penalised maximum over the free coefficients, the others held at `start`."""
    beta = start.copy()
    value = _penalised(design, outcome, beta)
    for _ in range(200):
        scores = design @ beta
        chance = special.expit(scores)
        weight = chance * special.expit(-scores)
        information = design.T @ (weight[:, None] * design)
        spread = np.linalg.inv(information)
        hat = weight * ((design @ spread) * design).sum(axis=1)
        score = design.T @ (outcome - chance + hat * (0.5 - chance))
        step = np.zeros_like(beta)
        step[free] = np.linalg.solve(information[np.ix_(free, free)], score[free])
        step *= min(1.0, 3.0 / max(1e-12, float(np.abs(step).max())))
        size = 1.0
        while size > 1e-6:
            following = _penalised(design, outcome, beta + size * step)
            if following >= value - 1e-12:
                break
            size /= 2
        beta, value = beta + size * step, following
        if float(np.abs(size * step).max()) < 1e-9:
            break
    return _Fit(beta, value, score, spread)


def _penalised(design: Floats, outcome: Floats, beta: Floats) -> float:
    score = design @ beta
    chance = special.expit(score)
    weight = chance * special.expit(-score)
    sign, half = np.linalg.slogdet(design.T @ (weight[:, None] * design))
    if sign <= 0:
        return -np.inf
    return float(outcome @ special.log_expit(score) + (1 - outcome) @ special.log_expit(-score) + half / 2)


_FURTHEST = 64.0  # log odds for one standard deviation; an end beyond is as good as infinite


class _Profile:
    """The penalised likelihood with coefficient `j` held, all others free.

    Each fit begins on the ridge through the last one: where comebacks are separated, one begun far off ends elsewhere.
    """

    def __init__(self, design: Floats, outcome: Floats, top: _Fit, j: int) -> None:
        self.design, self.outcome, self.top, self.j = design, outcome, top, j
        self.last = top
        self.free = np.arange(design.shape[1]) != j

    def fall(self, at: float) -> tuple[float, float]:
        """Twice how far it lies below its top where the coefficient is `at`, and the slope of that by `at`."""
        ridge = self.last.covariance[:, self.j] / self.last.covariance[self.j, self.j]
        start = self.last.beta + (at - self.last.beta[self.j]) * ridge
        self.last = _fit(self.design, self.outcome, start, self.free)
        return max(0.0, 2 * (self.top.value - self.last.value)), -2 * float(self.last.slope[self.j])

    def end(self, cut: float, way: float) -> float:
        """Where, on one side of the top, it has fallen by `cut`: Newton's steps, kept inside what is known.

        They go by the root of the fall, which is near a straight line.
        """
        top = float(self.top.beta[self.j])
        inner, outer = 0.0, np.inf  # distances from the top
        reach = float(np.sqrt(cut * self.top.covariance[self.j, self.j]))
        for _ in range(100):
            reach = min(reach, _FURTHEST)
            fall, slope = self.fall(top + way * reach)
            root = np.sqrt(fall)
            if fall < cut:
                inner = reach
                if reach == _FURTHEST:
                    return way * float("inf")
            else:
                outer = reach
            step = 2 * root * (np.sqrt(cut) - root) / (way * slope) if slope else np.inf
            following = reach + step
            if not inner < following < outer:
                following = 2 * inner if outer == np.inf else (inner + outer) / 2
            if abs(following - reach) < 1e-9 or outer - inner < 1e-9:
                return top + way * following
            reach = following
        return top + way * reach
