"""What grows with the readings grows with them and not with their square: peaks of memory, never times."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

from qclog.stats.compare.groups import adjust_p_values
from qclog.stats.life.survival import estimate_survival
from qclog.stats.life.turnbull import estimate_shape_free
from qclog.stats.life.weibull import fit_weibull
from qclog.stats.spread.capability import assess
from qclog.stats.spread.normality import check_normality
from qclog.stats.spread.outliers import judge_several

FEW, MANY = 4_000, 40_000


def _lives(n: int) -> object:
    rng = np.random.default_rng(n)
    return estimate_survival(rng.exponential(100, n), rng.random(n) < 0.7)


def _brackets(n: int) -> object:
    rng = np.random.default_rng(n)
    low = np.round(rng.exponential(100, n))
    return estimate_shape_free(low, low + rng.integers(1, 40, n))


def _weibull(n: int) -> object:
    rng = np.random.default_rng(n)
    return fit_weibull(rng.weibull(2, n) + 0.01, rng.random(n) < 0.8, trials=40)


CASES: dict[str, Callable[[int], object]] = {
    "Kaplan-Meier": _lives,
    "Turnbull": _brackets,
    "Weibull": _weibull,
    "capability of coarse readings": lambda n: assess(
        np.round(np.random.default_rng(n).normal(20, 2, n)), lower=10, upper=30, step=1
    ),
    "normality": lambda n: check_normality(np.random.default_rng(n).normal(size=n)),
    "several outliers": lambda n: judge_several(np.random.default_rng(n).normal(size=n), 3, trials=50),
    "many p-values": lambda n: adjust_p_values(np.random.default_rng(n).random(n)),
}


@pytest.mark.parametrize("name", CASES)
def test_memory_grows_with_the_readings(name: str) -> None:
    peaks = []
    for n in (FEW, MANY):
        CASES[name](200)  # what is loaded or kept for the first time is not counted
        tracemalloc.start()
        CASES[name](n)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 2 * (MANY / FEW) * peaks[0] + 2_000_000, peaks
