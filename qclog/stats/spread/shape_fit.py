"""Fitting a shape to flatness, run-out, spread and the like, which can't fall below a bound and lean to one side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_number, read_trials, read_values, standard_deviation
from qclog.stats.rounded.interval_fit import fit_normal
from qclog.stats.spread.shapes import SKEWED, Shape

_SEED = 20_240_301
_LOW, _HIGH = 0.00135, 0.99865


@dataclass(frozen=True, slots=True)
class FittedShape:
    """One shape with its parameters by maximum likelihood; percentiles in the unit of the readings.

    `low`, `median` and `high` are the 0.135, 50 and 99.865 % points. `criterion` is 2 parameters - 2 log-
    likelihood: smaller is better.
    """

    name: str
    parameters: dict[str, float]
    log_likelihood: float
    criterion: float
    low: float
    median: float
    high: float


@dataclass(frozen=True, slots=True)
class ShapeChoice:
    """The best shape, how well it fits (`p_value`, small is bad), and what else was tried."""

    n: int
    best: FittedShape
    p_value: float
    fits: bool
    tried: tuple[FittedShape, ...]
    bound: float | None
    step: float
    warnings: tuple[str, ...] = ()


@checked
def choose_shape(
    values: npt.ArrayLike, *, bound: float | None = 0.0, step: float = 0.0, trials: int = 199
) -> ShapeChoice:
    """Fit a normal and, above the bound, four skewed shapes, and keep the one with the best criterion.

    Parameters
    ----------
    values : one-dimensional, any unit, eight or more.
    bound : which no reading can lie below, same unit (0 for flatness and run-out); None tries the normal
        only.
    step : of the gauge, same unit; the likelihood is then that of the intervals. 0 for readings without
        steps.
    trials : seeded samples of the chosen shape, fitted anew, that its Anderson-Darling distance is
        compared with.

    Raises
    ------
    TooFewError : fewer than 8. StatisticsError : see `series.read_values`; a reading below the bound; all
        equal.
    """
    array = read_values(values, minimum=8)
    step = read_number(step, "step", at_least=0)
    if np.ptp(array) == 0:
        raise StatisticsError("all readings are equal: no shape", field="values", found=float(array[0]))
    notes: list[str] = []
    origin = float(array[0]) if bound is None else read_number(bound, "bound")
    x = array - origin
    if bound is not None and bool((x < 0).any()):
        raise StatisticsError(
            "a reading lies below the bound", field="bound", found=float(array.min()), hint="give a lower bound"
        )
    low, high = x - step / 2, x + step / 2
    if bound is not None:
        if step == 0 and bool((x == 0).any()):
            high = np.where(x == 0, x[x > 0].min() / 2, high)
            notes.append("readings at the bound are taken as somewhere below half the smallest of the others")
        low = np.maximum(low, 0.0)
    tried = [_fit_normal(low, high, origin)]
    shapes: dict[str, Shape] = {}
    if bound is not None:
        shapes = {s.name: s for s in SKEWED}
        tried += [_describe(s, *_maximise(s, low, high), origin) for s in SKEWED]
    tried.sort(key=lambda f: f.criterion)
    best = tried[0]
    p = _fit_p(x, step, best, shapes.get(best.name), trials=read_trials(trials), origin=origin)
    if p < 0.05:
        notes.append("no shape fits well: use percentile limits")
    if len(tried) > 1 and tried[1].criterion - best.criterion < 2:
        notes.append(f"{tried[1].name} fits about as well")
    return ShapeChoice(int(array.size), best, p, p >= 0.05, tuple(tried), bound, step, tuple(notes))


def _fit_normal(low: Floats, high: Floats, origin: float) -> FittedShape:
    fit = fit_normal(low, high, intervals=False)
    sd = fit.sd.value if fit.sd.value > 0 else 1e-12
    points = origin + fit.mean.value + sd * special.ndtri(np.array([_LOW, 0.5, _HIGH]))
    return FittedShape(
        "normal",
        {"mean": origin + fit.mean.value, "sd": fit.sd.value},
        fit.log_likelihood,
        4 - 2 * fit.log_likelihood,
        *(float(p) for p in points),
    )


def _maximise(shape: Shape, low: Floats, high: Floats) -> tuple[Floats, float]:
    from scipy import optimize

    pairs, counts = np.unique(np.stack([low, high]), axis=1, return_counts=True)
    exact = pairs[0] == pairs[1]
    middle = np.maximum((pairs[0] + pairs[1]) / 2, 1e-9 * float(pairs[1].max()))
    share = counts / counts.sum()
    mean = float(share @ middle)
    sd = float(np.sqrt(share @ (middle - mean) ** 2)) or mean / 10
    logs = np.log(middle)
    log_mean = float(share @ logs)
    log_sd = float(np.sqrt(share @ (logs - log_mean) ** 2)) or 0.1

    def loss(at: Floats) -> float:
        p = np.exp(np.clip(at, -60, 60))
        total = float(counts[exact] @ shape.log_density(pairs[0][exact], p)) if exact.any() else 0.0
        if not exact.all():
            mass = shape.share_below(pairs[1][~exact], p) - shape.share_below(pairs[0][~exact], p)
            total += float(counts[~exact] @ np.log(np.maximum(mass, 1e-300)))
        return -total if np.isfinite(total) else 1e12

    start = np.log(shape.start(mean, sd, log_mean, log_sd))
    options = {"xatol": 1e-7, "fatol": 1e-9, "maxiter": 2000}
    with np.errstate(over="ignore", under="ignore", invalid="ignore", divide="ignore"):
        fit = optimize.minimize(loss, start, method="Nelder-Mead", options=options)
    return np.exp(np.asarray(fit.x, dtype=np.float64)), -float(fit.fun)


def _describe(shape: Shape, p: Floats, log_likelihood: float, origin: float) -> FittedShape:
    points = origin + shape.quantile(np.array([_LOW, 0.5, _HIGH]), p)
    return FittedShape(
        shape.name,
        dict(zip(shape.parameters, p.tolist(), strict=True)),
        log_likelihood,
        2 * len(p) - 2 * log_likelihood,
        *(float(q) for q in points),
    )


def _fit_p(x: Floats, step: float, best: FittedShape, shape: Shape | None, trials: int, origin: float) -> float:
    """Share of samples of the fitted shape that lie further from their own fit than the readings do."""
    parameters = np.array(list(best.parameters.values()))
    if shape is None:
        parameters[0] -= origin
    # Both the readings and the samples are fitted the quick way here, so that like is compared with like.
    quick = _quick_fit(x, shape)
    observed = _distance(_spread_ties(x, step), shape, parameters if quick is None else quick)
    rng = np.random.default_rng(_SEED)
    further = 0
    for _ in range(trials):
        u = rng.uniform(size=x.size)
        if shape is None:
            sample = parameters[0] + max(parameters[1], 1e-12) * special.ndtri(u)
        else:
            sample = shape.quantile(u, parameters)
        if step > 0:
            sample = np.round(sample / step) * step
        fitted = _quick_fit(sample, shape)
        further += fitted is None or _distance(_spread_ties(sample, step), shape, fitted) >= observed
    return (1 + further) / (1 + trials)


def _spread_ties(x: Floats, step: float) -> Floats:
    """Equal readings laid out evenly over the step they stand for."""
    if step == 0:
        return x
    values, counts = np.unique(x, return_counts=True)
    within = np.concatenate([(np.arange(c) + 0.5) / c for c in counts]) - 0.5
    low = np.maximum(np.repeat(values, counts) + step * within, 0.0 if values[0] >= 0 else -np.inf)
    return np.asarray(low, dtype=np.float64)


def _quick_fit(x: Floats, shape: Shape | None) -> Floats | None:
    """Parameters by moments, good enough to compare distances; None where a sample shows no spread."""
    sd = standard_deviation(x)
    if sd == 0:
        return None
    if shape is None:
        return np.array([float(x.mean()), sd])
    safe = np.maximum(x, 1e-6 * float(x.max()))
    logs = np.log(safe)
    return shape.start(float(safe.mean()), sd, float(logs.mean()), float(logs.std()) or 0.1)


def _distance(x: Floats, shape: Shape | None, parameters: Floats) -> float:
    """Anderson-Darling distance between sorted readings and a shape."""
    ordered = np.sort(x)
    if shape is None:
        u = special.ndtr((ordered - parameters[0]) / max(parameters[1], 1e-12))
    else:
        u = shape.share_below(ordered, parameters)
    u = np.clip(u, 1e-12, 1 - 1e-12)
    n = x.size
    weights = (2 * np.arange(1, n + 1) - 1) / n
    return float(-n - weights @ (np.log(u) + np.log1p(-u[::-1])))
