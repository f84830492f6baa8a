"""Does a gauge read true? Bias against a reference, and whether it changes along the range."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.randomness import Trend, fit_trend
from qclog.stats.base.series import centre_and_deviations, read_number, read_probability, read_values


@dataclass(frozen=True, slots=True)
class Bias:
    """Mean reading less the reference, in the unit of the readings; `p_value` small: not just chance."""

    n: int
    bias: Estimate
    repeatability: float
    statistic: float
    p_value: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Linearity:
    """A straight line of bias against reference; a slope is a gauge that stretches.

    `lack_of_fit_p` small: the bias bends, so the line is not the whole story; None without repeats.
    """

    n: int
    line: Trend
    mean_bias: float
    lack_of_fit_p: float | None
    warnings: tuple[str, ...] = ()


@checked
def estimate_bias(values: npt.ArrayLike, reference: float, *, step: float = 0.0, confidence: float = 0.95) -> Bias:
    """Bias of repeated readings of one reference piece.

    Parameters
    ----------
    values : one-dimensional, any unit, two or more. reference : of the piece, same unit.
    step : of the gauge, same unit: when all readings agree the bias is known to half a step only.
    confidence : of the interval.

    Raises
    ------
    TooFewError : fewer than 2. StatisticsError : see `series.read_values`.
    """
    array = read_values(values, minimum=2)
    reference = read_number(reference, "reference")
    step = read_number(step, "step", at_least=0)
    level = read_probability(confidence)
    n = int(array.size)
    mean, d = centre_and_deviations(array)
    sd = sqrt(float(d @ d) / (n - 1))
    bias = mean - reference
    half = float(special.stdtrit(n - 1, (1 + level) / 2)) * sd / sqrt(n)
    notes = []
    method = "Student's t"
    if sd < step / 2:
        # So steady a reading rounds the same way each time, and repeating it tells nothing more.
        half += step / 2
        method = "Student's t, half a step wider"
        notes.append("repeats agree within the step, which then limits what is known of the bias")
    elif sd == 0:
        notes.append("all readings are equal, so the interval has no width: give the step of the gauge")
    statistic = bias / (sd / sqrt(n)) if sd > 0 else (float(np.copysign(np.inf, bias)) if bias else 0.0)
    p = 2 * float(special.stdtr(n - 1, -abs(statistic)))
    return Bias(n, Estimate(bias, bias - half, bias + half, level, method), sd, statistic, p, tuple(notes))


@checked
def estimate_linearity(values: npt.ArrayLike, references: npt.ArrayLike, *, confidence: float = 0.95) -> Linearity:
    """Bias along the range, from readings of several reference pieces.

    Parameters
    ----------
    values, references : one-dimensional, equally long, one unit, three or more over two or more references.
    confidence : of the intervals.

    Raises
    ------
    TooFewError : fewer than 3. StatisticsError : see `series.read_values`; unequal lengths; one reference
        only.
    """
    y, x = read_values(values, minimum=3), read_values(references, "references", minimum=3)
    if y.size != x.size:
        raise StatisticsError("one reference for each value", field="references", found=int(x.size))
    gap = y - x
    line = fit_trend(gap, x, confidence=confidence)
    levels, code = np.unique(x, return_inverse=True)
    n, k = int(y.size), int(levels.size)
    p = None
    if n > k > 2:
        means = np.bincount(code, weights=gap) / np.bincount(code)
        pure = float(((gap - means[code]) ** 2).sum())
        lack = max(0.0, line.residual_sd**2 * (n - 2) - pure)
        if pure > 0:
            p = float(special.fdtrc(k - 2, n - k, lack / (k - 2) / (pure / (n - k))))
    notes = ["the bias bends along the range"] if p is not None and p < 0.05 else []
    return Linearity(n, line, centre_and_deviations(gap)[0], p, tuple(notes))
