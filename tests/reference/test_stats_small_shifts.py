"""EWMA and CUSUM against the NIST examples, published run lengths, plain loops and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from qclog.errors import StatisticsError
from qclog.stats.charts import cusum, ewma
from tests.reference.conftest import Published


def test_ewma_example(published: Published) -> None:
    # NIST e-Handbook 6.3.2.4: lambda 0.3, target 50, s 2.0539. The printed LCL 47.4115 is truncated
    # (47.411568); the averages are printed to two decimals.
    values = published("nist_ewma_example")["y"]
    found = ewma.chart(values, 50, 2.0539, weight=0.3, factor=3, exact=False)
    assert found.upper[0] == pytest.approx(52.588432, abs=2e-6)
    assert found.lower[0] == pytest.approx(47.411568, abs=2e-6)
    printed = """50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33
                 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"""
    assert found.averages == pytest.approx([float(v) for v in printed.split()], abs=5.1e-3)
    assert found.signals == ()
    widening = ewma.chart(values, 50, 2.0539, weight=0.3, factor=3)
    first = [51.848510, 52.256394, 52.431406, 52.512715, 52.551611]
    assert widening.upper[:5] == pytest.approx(first, abs=6e-7)


def test_cusum_example(published: Published) -> None:
    # NIST e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959, in the unit of the readings.
    values = published("nist_cusum_example")["xbar"]
    found = cusum.chart(values, 325, 1, allowance=0.3175, limit=4.1959)
    upper = np.zeros(20)
    upper[4] = 0.0325
    upper[12:] = [3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350]
    lower = np.zeros(20)
    lower[[1, 3]] = 0.0075, 0.3325
    lower[6:11] = 0.5575, 0.7150, 0.1725, 0.2550, 0.3125
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower == pytest.approx(lower, abs=1e-9)
    assert found.signals[0] == 13
    assert (found.side, found.began) == ("high", 11)
    assert (values - 325).sum() == pytest.approx(19.075, abs=1e-9)


def test_cusum_limit_of_the_example_is_with_beta_zero() -> None:
    # The printed h = 4.1959 takes beta as 0; with the stated beta = 0.01 it would be 4.18948.
    assert 0.3175 * 2 * np.log(1 / 0.00135) == pytest.approx(4.195858, abs=1e-6)
    assert 0.3175 * 2 * np.log(0.99 / 0.00135) == pytest.approx(4.18948, abs=5e-6)


def test_ewma_run_lengths(published: Published) -> None:
    # Lucas & Saccucci, Technometrics 32(1) 1990, four settings by ten shifts.
    table = published("arl_ewma")
    for i, weight in enumerate(table["lambda"]):
        for column, values in table.items():
            if column.startswith("shift_"):
                shift = float(column.removeprefix("shift_"))
                found = ewma.average_run_length(weight, table["L"][i], shift=shift)
                assert found == pytest.approx(values[i], rel=1e-6, abs=1e-4), (weight, shift)


def test_cusum_run_lengths(published: Published) -> None:
    # Textbook tables after Lucas & Crosier 1982.
    table = published("arl_cusum_two_sided")
    for i, allowance in enumerate(table["k"]):
        for column, values in table.items():
            if column.startswith("shift_"):
                shift = float(column.removeprefix("shift_"))
                found = cusum.average_run_length(allowance, table["h"][i], shift=shift)
                assert found == pytest.approx(values[i], abs=1e-4), (allowance, shift)
    assert cusum.average_run_length(0.5, 5, sides=1) == pytest.approx(930.887, abs=5e-4)
    assert cusum.average_run_length(0.5, 4, sides=1) == pytest.approx(335.368, abs=6e-4)
    assert cusum.average_run_length(0.5, 5, sides=1, head_start=2.5) == pytest.approx(895.834, abs=5e-4)
    assert cusum.average_run_length(0.5, 5, sides=1, head_start=2.5, shift=1) == pytest.approx(6.348, abs=5e-4)


@pytest.mark.parametrize(
    ("allowance", "limit"),
    # Hawkins 1993 for a false alarm every 370; k 1.5 is printed 1.61, which is 0.006 high.
    [(0.25, 8.008), (0.5, 4.774), (0.75, 3.339), (1.0, 2.516), (1.25, 1.986), (1.5, 1.604)],
)
def test_cusum_limits_for_370(allowance: float, limit: float) -> None:
    assert cusum.choose_limit(allowance, 370) == pytest.approx(limit, abs=6e-4)


def test_siegmund_approximation_is_near() -> None:
    # Siegmund 1985: one-sided h 5 938.222, h 4 two-sided 169.05.
    def siegmund(h: float, drift: float) -> float:
        b = h + 1.166
        return float(np.exp(2 * drift * b) - 1 - 2 * drift * b) / (2 * drift**2)

    assert siegmund(5, 0.5) == pytest.approx(938.222, abs=5e-4)
    assert siegmund(5, 0.5) / 2 == pytest.approx(469.111, abs=5e-4)
    assert siegmund(4, 0.5) / 2 == pytest.approx(169.05, abs=5e-3)
    assert siegmund(5, -0.5) == pytest.approx(10.336, abs=5e-4)
    assert cusum.average_run_length(0.5, 5, sides=1) == pytest.approx(938.222, rel=0.01)
    assert cusum.average_run_length(0.5, 4) == pytest.approx(169.05, rel=0.01)
    assert cusum.average_run_length(0.5, 5, sides=1, shift=1) == pytest.approx(10.336, rel=0.01)


def test_charts_equal_plain_loops() -> None:
    x = np.random.default_rng(9).normal(30, 2, 400)
    x[200:] += 2
    chart = ewma.chart(x, 30, 2, weight=0.15, start=33)
    level, loop = 33.0, []
    for value in x:
        level = 0.15 * value + 0.85 * level
        loop.append(level)
    assert chart.averages == pytest.approx(loop, rel=1e-12)
    sums = cusum.chart(x, 30, 2, head_start=2)
    up, down, ups, downs = 2.0, 2.0, [], []
    for value in x:
        up, down = max(0, up + (value - 30) / 2 - 0.5), max(0, down - (value - 30) / 2 - 0.5)
        ups.append(up)
        downs.append(down)
    assert sums.upper == pytest.approx(ups, abs=1e-9)
    assert sums.lower == pytest.approx(downs, abs=1e-9)
    # With a head start the first alarm may be chance; without one, the shift is what is found.
    assert cusum.chart(x, 30, 2, limit=8).side == "high"
    assert cusum.chart(x, 30, 2, limit=8).began == pytest.approx(199, abs=5)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_ewma_run_length_with_widening_limits_by_simulation(shift: float) -> None:
    z = np.random.default_rng(21).normal(shift, 1, (4000, 900))
    level, alive, lengths = np.zeros(4000), np.ones(4000, bool), np.full(4000, 900.0)
    for t in range(900):
        level = 0.2 * z[:, t] + 0.8 * level
        limit = 2.5 * np.sqrt(0.2 / 1.8 * (1 - 0.8 ** (2 * t + 2)))
        out = alive & (np.abs(level) > limit)
        lengths[out] = t + 1
        alive &= ~out
    exact = ewma.average_run_length(0.2, 2.5, shift=shift, exact=True)
    assert not alive.mean() > 0.01
    assert exact == pytest.approx(lengths.mean(), abs=4 * lengths.std() / np.sqrt(4000) + 0.5)


def test_ewma_with_all_weight_on_the_newest_is_a_plain_chart() -> None:
    assert ewma.average_run_length(1, 3) == pytest.approx(370.398, abs=1e-3)
    assert ewma.average_run_length(1, 3, shift=1, exact=True) == pytest.approx(43.895, abs=1e-3)


def test_settings_for_a_wanted_interval() -> None:
    for every in (100, 370, 2000):
        found = ewma.choose_settings(every, shift=1.5)
        assert ewma.average_run_length(found.weight, found.factor) == pytest.approx(every, rel=1e-5)
        sums = cusum.choose_settings(every, shift=1.5)
        assert cusum.average_run_length(sums.allowance, sums.limit) == pytest.approx(every, rel=1e-6)
        assert sums.shift_found_after < 10
    # Crowder's advice: small shifts want small weights.
    assert ewma.choose_settings(370, shift=0.5).weight < ewma.choose_settings(370, shift=2).weight


def test_bad_settings() -> None:
    for call in (
        lambda: ewma.chart([1, 2], 0, 1, weight=0),
        lambda: ewma.chart([1, 2], 0, 1, weight=1.2),
        lambda: ewma.chart([1, 2], 0, 0),
        lambda: ewma.choose_factor(0.2, 1),
        lambda: cusum.chart([1, 2], 0, -1),
        lambda: cusum.chart([1, 2], 0, 1, allowance=-0.1),
        lambda: cusum.chart([1, 2], 0, 1, limit=4, head_start=5),
        lambda: cusum.average_run_length(0.5, 4, sides=3),
    ):
        with pytest.raises(StatisticsError):
            call()
