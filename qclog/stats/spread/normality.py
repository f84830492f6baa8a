"""Is a series normal enough? Anderson-Darling and Shapiro-Wilk, with the rounding of the gauge allowed for."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, centre_and_deviations, in_batches, read_number, read_trials, read_values

_MOST_FOR_SHAPIRO = 5000
_SEED = 20_240_229
# A step below this part of the spread moves no test.
_FINE = 0.02


@dataclass(frozen=True, slots=True)
class NormalityCheck:
    """Two tests of normality; small p-values speak against it. None where a test can't be made.

    `step` 0 means readings taken as exact. With a step the p-values come from `trials` rounded normal
    samples.
    """

    n: int
    anderson_darling: float | None
    anderson_darling_p: float | None
    shapiro_wilk: float | None
    shapiro_wilk_p: float | None
    step: float
    trials: int
    warnings: tuple[str, ...] = ()


@checked
def check_normality(values: npt.ArrayLike, *, step: float = 0.0, trials: int = 499) -> NormalityCheck:
    """Test whether a series could come from a normal.

    Parameters
    ----------
    values : one-dimensional, any unit, three or more.
    step : of the gauge, same unit; 0 for readings without steps. Ties from rounding then count as what
        they are.
    trials : how many rounded normal samples to compare with (seeded, so the answer is always the same).

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; negative step.

    Source: Anderson-Darling with both parameters estimated: Stephens, in D'Agostino & Stephens,
    Goodness-of-Fit Techniques (1986), table 4.9 formulas; Shapiro-Wilk as in SciPy (Royston 1995).
    """
    from scipy import stats

    array = read_values(values, minimum=3)
    step = read_number(step, "step", at_least=0)
    trials = read_trials(trials)
    n = int(array.size)
    _, deviations = centre_and_deviations(array)
    scale = float(np.abs(deviations).max())
    if np.ptp(array) == 0 or scale == 0:
        return NormalityCheck(n, None, None, None, None, step, 0, ("all readings are equal",))
    deviations = deviations / scale  # the shape has no scale, and the square of a tiny one would vanish
    notes = ["too few to see any but the grossest departure"] if n < 8 else []
    squared = float(_anderson_darling(deviations[None, :])[0])
    shapiro = n <= _MOST_FOR_SHAPIRO
    wilk = float(stats.shapiro(deviations).statistic) if shapiro else None
    if not shapiro:
        notes.append(f"Shapiro-Wilk is not defined for more than {_MOST_FOR_SHAPIRO}")
    if step / scale <= _FINE * float(np.sqrt(deviations @ deviations / (n - 1))):
        wilk_p = float(stats.shapiro(deviations).pvalue) if shapiro else None
        if step == 0 and np.unique(array).size < n / 2:
            notes.append("many equal readings: give the step of the gauge")
        return NormalityCheck(n, squared, _p_value(squared, n), wilk, wilk_p, step, 0, tuple(notes))
    cells = np.round((array - array[0]) / step).astype(np.int64)
    if np.ptp(cells) < 2:
        notes.append("step too coarse to see a shape")
        return NormalityCheck(n, None, None, None, None, step, 0, tuple(notes))
    return _check_rounded(cells, step, trials, shapiro, tuple(notes))


def _check_rounded(
    cells: npt.NDArray[np.int64], step: float, trials: int, shapiro: bool, notes: tuple[str, ...]
) -> NormalityCheck:
    """Both tests on whole steps, judged by rounded normal samples with the same mean and spread."""
    from scipy import stats

    n = int(cells.size)
    mean, sd = _rounded_fit(cells[None, :])
    rng = np.random.default_rng(_SEED)
    further = lower = 0
    distance, wilk = 0.0, None
    for some in in_batches(trials, n):
        draw = rng.normal(float(mean[0]), float(sd[0]), (some, n))
        samples = np.vstack([cells[None, :], np.round(draw).astype(np.int64)])
        means, sds = _rounded_fit(samples)
        distances = _grouped_distance(samples, means, sds)
        distance = float(distances[0])
        further += int((distances[1:] >= distances[0] - 1e-12).sum())
        if shapiro:
            wilks = np.array(
                [
                    stats.shapiro(_spread_ties(row, m, s)).statistic
                    for row, m, s in zip(samples, means.tolist(), sds.tolist(), strict=True)
                ]
            )
            wilk = float(wilks[0])
            lower += int((wilks[1:] <= wilks[0]).sum())
    return NormalityCheck(
        n,
        distance,
        (1 + further) / (1 + trials),
        wilk,
        (1 + lower) / (1 + trials) if shapiro else None,
        step,
        trials,
        notes,
    )


def _rounded_fit(cells: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Mean and spread of each row, in steps, the rounding taken out but for a least spread of a quarter step."""
    mean = cells.mean(axis=1)
    variance = cells.var(axis=1, ddof=1) - 1 / 12
    return mean, np.sqrt(np.maximum(variance, 1 / 16))


def _grouped_distance(cells: npt.NDArray[np.int64], means: Floats, sds: Floats) -> Floats:
    """Anderson-Darling distance of each row from its rounded normal, on the edges between cells only."""
    low = int(cells.min())
    count = int(cells.max()) - low + 1
    rows = np.repeat(np.arange(cells.shape[0]), cells.shape[1])
    tally = np.bincount(rows * count + (cells - low).ravel(), minlength=cells.shape[0] * count)
    found = np.cumsum(tally.reshape(cells.shape[0], count), axis=1) / cells.shape[1]
    edges = low + 0.5 + np.arange(-1, count)
    expected = special.ndtr((edges - means[:, None]) / sds[:, None])
    mass, at = np.diff(expected, axis=1), expected[:, 1:]
    weight = np.maximum(at * (1 - at), 1e-9)
    return np.asarray(cells.shape[1] * ((found - at) ** 2 * mass / weight).sum(axis=1), dtype=np.float64)


def _spread_ties(cells: npt.NDArray[np.int64], mean: float, sd: float) -> Floats:
    """Readings of one cell laid out inside it as the fitted normal would lay them."""
    values, counts = np.unique(cells, return_counts=True)
    low, high = special.ndtr((values - 0.5 - mean) / sd), special.ndtr((values + 0.5 - mean) / sd)
    within = np.concatenate([(np.arange(c) + 0.5) / c for c in counts])
    share = np.repeat(low, counts) + within * np.repeat(high - low, counts)
    return np.asarray(special.ndtri(np.clip(share, 1e-12, 1 - 1e-12)), dtype=np.float64)


def _anderson_darling(samples: Floats) -> Floats:
    """A squared of each row of centred readings, mean and spread estimated."""
    n = samples.shape[1]
    sd = np.sqrt((samples**2).sum(axis=1, keepdims=True) / (n - 1))
    z = np.sort(samples / sd, axis=1)
    weights = (2 * np.arange(1, n + 1) - 1) / n
    logs = special.log_ndtr(z) + special.log_ndtr(-z[:, ::-1])
    return np.asarray(-n - logs @ weights, dtype=np.float64)


def _p_value(squared: float, n: int) -> float:
    a = squared * (1 + 0.75 / n + 2.25 / n**2)
    if a >= 13:
        return 0.0
    if a >= 0.6:
        return exp(1.2937 - 5.709 * a + 0.0186 * a * a)
    if a >= 0.34:
        return exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a >= 0.2:
        return 1 - exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1 - exp(-13.436 + 101.14 * a - 223.73 * a * a)


@checked
def normal_scores(values: npt.ArrayLike) -> Floats:
    """Replace each reading by the unit-normal value of its rank, ties sharing their middle rank.

    Parameters
    ----------
    values : one-dimensional, any unit, one or more.

    Returns
    -------
    array as long as `values`, unit free: Phi^-1((rank - 3/8) / (n + 1/4)).

    Raises
    ------
    StatisticsError : see `series.read_values`.

    Source: Blom 1958.
    """
    from scipy import stats

    array = read_values(values)
    ranks = stats.rankdata(array)
    return np.asarray(special.ndtri((ranks - 0.375) / (array.size + 0.25)), dtype=np.float64)
