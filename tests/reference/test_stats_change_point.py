"""Change of mean: the Nile, brute force, and what the candidates hold."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from qclog.errors import TooFewError
from qclog.stats.charts.change_point import find_change, find_rank_change
from qclog.stats.charts.local_level import fit_local_level
from tests.reference.conftest import Published


def test_nile(published: Published) -> None:
    # Cobb, Biometrika 65 (1978); break after 1898, means 1097.75 and 849.9722, RSS 1597457.194.
    volume = published("nile")["volume"]
    found = find_change(volume)
    assert found.after == 28
    assert (found.mean_before, found.mean_after) == pytest.approx((1097.75, 849.9722), abs=5e-5)
    assert found.residual_squares == pytest.approx(1597457.194, abs=1e-3)
    assert found.total_squares == pytest.approx(2835156.75, abs=1e-3)
    assert abs(found.statistic) == pytest.approx(8.713769, abs=1e-6)
    assert found.p_value < 1e-9
    assert 28 in found.candidates
    assert len(found.candidates) < 10


def test_nile_by_ranks(published: Published) -> None:
    # Pettitt, Applied Statistics 28(2) 1979: K 1617 at 28; p = 2 exp(-6K^2/(n^3+n^2)) = 3.591e-7.
    found = find_rank_change(published("nile")["volume"])
    assert (found.statistic, found.after) == (1617, 28)
    assert found.p_value == pytest.approx(3.591e-7, rel=2e-4)


def test_nile_local_level(published: Published) -> None:
    # Durbin & Koopman, exact diffuse start: printed 15099, 1469.1, -632.54. A default approximate start gives
    # 15078 and 1478.8 elsewhere; the exact one is right.
    found = fit_local_level(published("nile")["volume"])
    assert found.scatter_variance == pytest.approx(15098.52, abs=0.05)
    assert found.step_variance == pytest.approx(1469.176, abs=0.01)
    assert found.log_likelihood == pytest.approx(-632.5456, abs=5e-5)


def test_local_level_against_the_full_normal() -> None:
    # The likelihood of the differences of the series, whose covariance is banded, written out in full.
    y = np.cumsum(np.random.default_rng(6).normal(0, 0.5, 40)) + np.random.default_rng(7).normal(0, 1, 40)
    found = fit_local_level(y)
    d = np.diff(y)
    cov = (2 * found.scatter_variance + found.step_variance) * np.eye(39)
    cov -= found.scatter_variance * (np.eye(39, k=1) + np.eye(39, k=-1))
    value = -0.5 * (39 * np.log(2 * np.pi) + np.linalg.slogdet(cov)[1] + d @ np.linalg.solve(cov, d))
    assert found.log_likelihood == pytest.approx(value, abs=1e-6)
    assert fit_local_level([3.0] * 6).warnings == ("all readings are equal",)


def test_best_split_by_brute_force() -> None:
    rng = np.random.default_rng(12)
    for _ in range(50):
        n = int(rng.integers(4, 30))
        x = rng.normal(size=n)
        x[n // 2 :] += rng.normal() * 2
        costs = [((x[:k] - x[:k].mean()) ** 2).sum() + ((x[k:] - x[k:].mean()) ** 2).sum() for k in range(1, n)]
        found = find_change(x)
        assert found.after == int(np.argmin(costs)) + 1
        assert found.residual_squares == pytest.approx(min(costs), rel=1e-9)
        k = found.after
        assert found.statistic == pytest.approx(
            (x[k:].mean() - x[:k].mean()) / (found.sd * np.sqrt(1 / k + 1 / (n - k))), rel=1e-9
        )


def test_chance_of_a_change_where_there_is_none() -> None:
    rng = np.random.default_rng(13)
    for n in (6, 20, 60):
        p = np.array([find_change(rng.normal(size=n)).p_value for _ in range(800)])
        error = np.sqrt(0.05 * 0.95 / 800)
        # An upper bound: never too small, and not uselessly large.
        assert 0.02 < (p <= 0.05).mean() < 0.05 + 4 * error


@pytest.mark.parametrize(("n", "after", "size"), [(8, 4, 3.0), (20, 10, 2.0), (20, 4, 1.0), (100, 30, 1.0)])
def test_candidates_hold_the_true_place(n: int, after: Any, size: int) -> None:
    rng = np.random.default_rng(14)
    held = 0
    for _ in range(600):
        x = rng.normal(size=n)
        x[after:] += size
        held += after in find_change(x).candidates
    assert held / 600 > 0.95 - 4 * np.sqrt(0.05 * 0.95 / 600)


def test_edges() -> None:
    with pytest.raises(TooFewError):
        find_change([1, 2, 3])
    flat = find_change([2.0] * 5)
    assert flat.p_value == 1
    assert len(flat.candidates) == 4
    clean = find_change([1, 1, 1, 5, 5, 5])
    assert (clean.after, clean.candidates, clean.p_value) == (3, (3,), 0)
    offset = find_change(np.array([0.1, 0.2, 0.1, 0.9, 1.0, 0.8]) + 1e7)
    assert offset.after == 3
    assert offset.mean_after - offset.mean_before == pytest.approx(0.7666666, abs=1e-6)
