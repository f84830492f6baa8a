"""Two sets of readings that need not have the same spread: how far apart their means are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import read_probability, read_values


@dataclass(frozen=True, slots=True)
class TwoMeans:
    """Second mean less first, with its interval at `confidence` and the p-value for no difference."""

    n: tuple[int, int]
    means: tuple[float, float]
    difference: float
    lower: float
    upper: float
    freedom: float
    p_value: float
    confidence: float
    warnings: tuple[str, ...] = ()


@checked
def compare_two_means(
    first: npt.ArrayLike | Sequence[float], second: npt.ArrayLike | Sequence[float], *, confidence: float = 0.95
) -> TwoMeans:
    """Means of two independent series, spreads not assumed equal (Welch; NIST e-Handbook 7.3.1).

    first, second : readings in one unit, two or more each.

    Raises
    ------
    TooFewError : fewer than two in either. StatisticsError : see `series.read_values`.
    """
    one, two = read_values(first, "first"), read_values(second, "second")
    confidence = read_probability(confidence)
    if min(len(one), len(two)) < 2:
        raise TooFewError("it takes two readings on each side", field="values", found=f"{len(one)} and {len(two)}")
    n, means = (len(one), len(two)), (float(one.mean()), float(two.mean()))
    gap = means[1] - means[0]
    v1, v2 = float(one.var(ddof=1)) / n[0], float(two.var(ddof=1)) / n[1]
    if v1 + v2 == 0.0:
        words = ("all readings on each side are the same, so there is no spread to judge by",)
        return TwoMeans(n, means, gap, gap, gap, float("nan"), float(gap == 0.0), confidence, words)
    freedom = (v1 + v2) ** 2 / (v1**2 / (n[0] - 1) + v2**2 / (n[1] - 1))
    error = float(np.sqrt(v1 + v2))
    half = float(-special.stdtrit(freedom, (1 - confidence) / 2)) * error
    p_value = 2 * float(special.stdtr(freedom, -abs(gap) / error))
    return TwoMeans(n, means, gap, gap - half, gap + half, freedom, p_value, confidence)
