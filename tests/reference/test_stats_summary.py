"""Means, spreads and neighbour correlation against NIST StRD certified values."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.intervals import estimate_normal
from qclog.stats.base.randomness import count_runs, fit_trend
from qclog.stats.base.summary import correlate_neighbours, summarise
from tests.reference.conftest import Published


@pytest.mark.parametrize(
    ("name", "mean", "sd", "neighbours"),
    # NIST StRD univariate, certified to 15 digits; 13 asked for.
    [
        ("nist_strd_lew", -177.435, 277.332168044316, -0.307304800605679),
        ("nist_strd_lottery", 518.958715596330, 291.699727470969, -0.120948622967393),
        ("nist_strd_mavro", 2.001856, 0.000429123454003053, 0.937989183438248),
        ("nist_strd_michelso", 299.8524, 0.0790105478190518, 0.535199668621283),
    ],
)
def test_strd_data_sets(published: Published, name: str, mean: float, sd: float, neighbours: Any) -> None:
    (values,) = published(name).values()
    found = summarise(values)
    assert found.mean == pytest.approx(mean, rel=1e-13)
    # Mavro has four decimals round 2, so a spread of 0.0004 can't hold more than 11 digits in doubles.
    assert found.sd == pytest.approx(sd, rel=1e-11)
    assert correlate_neighbours(values) == pytest.approx(neighbours, rel=1e-11)


def test_strd_numacc() -> None:
    # NIST StRD NumAcc1 to 3; certified mean, sd and lag-1 autocorrelation.
    assert summarise([10000001, 10000003, 10000002]).sd == 1.0
    assert correlate_neighbours([10000001, 10000003, 10000002]) == -0.5
    small = np.array([1.2, *([1.1, 1.3] * 500)])
    assert summarise(small).sd == pytest.approx(0.1, rel=1e-14)
    assert correlate_neighbours(small) == pytest.approx(-0.999, rel=1e-13)
    large = np.array([1000000.2, *([1000000.1, 1000000.3] * 500)])
    # A naive two-pass rule gives 0.10000000003; the stored decimals themselves allow no better.
    assert summarise(large).sd == pytest.approx(0.1, rel=1e-9)
    assert summarise(large).mean == pytest.approx(1000000.2, rel=1e-15)
    huge = np.array([10000000.2, *([10000000.1, 10000000.3] * 500)])
    assert summarise(huge).sd == pytest.approx(0.1, rel=1e-8)
    assert correlate_neighbours(huge) == pytest.approx(-0.999, rel=1e-7)


def test_zarr13(published: Published) -> None:
    # NIST e-Handbook 1.4.2.8 heat flow meter: mean, sd, 95 % interval, runs, slope, neighbours.
    (values,) = published("nist_zarr13").values()
    found = summarise(values)
    assert found.mean == pytest.approx(9.261460759, abs=5e-10)
    assert found.sd == pytest.approx(0.0227887974, abs=5e-11)
    interval = estimate_normal(values).mean
    assert (interval.lower, interval.upper) == pytest.approx((9.258242137, 9.264679381), abs=5e-10)
    # Printed 2611.284 (from memory), single precision; exact 2611.2857.
    t = (found.mean - 5) / (found.sd / np.sqrt(found.n))
    assert t == pytest.approx(2611.2857, abs=5e-5)
    assert count_runs(values).statistic == pytest.approx(-3.2305718, abs=5e-8)
    assert fit_trend(values).statistic == pytest.approx(-1.9600, abs=5e-5)
    assert correlate_neighbours(values) == pytest.approx(0.2805783505, abs=5e-11)


def test_lew_runs_about_the_median(published: Published) -> None:
    # NIST e-Handbook 1.3.5.13; printed Z 2.6938.
    (values,) = published("nist_strd_lew").values()
    found = count_runs(values)
    assert (found.runs, found.expected) == (120, 101)
    assert found.sd == pytest.approx(7.0532789, abs=5e-8)
    assert found.statistic == pytest.approx(2.6937826, abs=5e-8)


def test_small_and_odd_series() -> None:
    one = summarise([7.5])
    assert (one.n, one.mean, one.sd, one.median) == (1, 7.5, None, 7.5)
    assert one.warnings
    equal = summarise([4, 4, 4])
    assert equal.sd == 0
    assert equal.warnings == ("all readings are equal",)
    assert summarise([3, 1, 2, 10]).median == 2.5
    wrong: list[Any] = [[], ["a"], ["1", "2"], [[1, 2]], [1, float("nan")], [1, float("inf")], [1, None]]
    for bad in wrong:
        with pytest.raises(StatisticsError):
            summarise(bad)
    with pytest.raises(TooFewError):
        correlate_neighbours([1])


def test_error_names_field_and_place() -> None:
    with pytest.raises(StatisticsError) as caught:
        summarise([1, 2, float("nan")])
    assert caught.value.field == "values"
    assert "place 3" in str(caught.value)
    assert "leave out" in str(caught.value.hint)
