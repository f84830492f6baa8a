"""Chart constants against exact integrals, closed forms and printed tables."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from qclog.errors import StatisticsError
from qclog.stats.base import constants
from tests.reference.conftest import Published


def test_every_constant_of_the_table_from_2_to_25(published: Published) -> None:
    # ISO 7870-2 and ASTM E2587 definitions, integrals worked out independently; six decimals are given.
    table = published("control_chart_constants")
    for i, size in enumerate(table["n"]):
        n = int(size)
        low_b, high_b = constants.sd_limits(n)
        low_k, high_k = constants.sd_limits_known(n)
        low_d, high_d = constants.range_limits(n)
        low_r, high_r = constants.range_limits_known(n)
        ours = {
            "c4": constants.c4(n),
            "d2": constants.d2(n),
            "d3": constants.d3(n),
            "A": 3 / sqrt(n),
            "A2": constants.mean_from_range(n),
            "A3": constants.mean_from_sd(n),
            "B3": low_b,
            "B4": high_b,
            "B5": low_k,
            "B6": high_k,
            "D1": low_r,
            "D2": high_r,
            "D3": low_d,
            "D4": high_d,
            "E2": 3 / constants.d2(n),
            "inv_c4": 1 / constants.c4(n),
            "inv_d2": 1 / constants.d2(n),
        }
        for name, value in ours.items():
            assert value == pytest.approx(table[name][i], abs=1e-6), (n, name)


def test_closed_forms() -> None:
    assert constants.d2(2) == pytest.approx(2 / sqrt(pi), rel=1e-14)
    assert constants.d2(3) == pytest.approx(3 / sqrt(pi), rel=1e-12)
    assert constants.c4(2) == pytest.approx(sqrt(2 / pi), rel=1e-14)
    assert pytest.approx(0.9538725524, abs=1e-10) == constants.MEDIAN_MOVING_RANGE


@pytest.mark.parametrize(
    ("value", "printed"),
    # Printed tables, from memory. D4(2) is printed 3.267 or 3.268 (exact 3.266532), D4(3) 2.574 or 2.575
    # (exact 2.574591), D4(5) 2.114 or 2.115 (exact 2.114499).
    [
        (constants.range_limits(2)[1], 3.267),
        (constants.range_limits(3)[1], 2.575),
        (constants.range_limits(5)[1], 2.115),
        (constants.sd_limits(5)[1], 2.089),
        (constants.d3(6), 0.848),
        (constants.d3(7), 0.833),
        (constants.range_limits(7)[0], 0.076),
        (constants.mean_from_range(3), 1.023),
    ],
)
def test_printed_tables_to_a_thousandth(value: float, printed: float) -> None:
    assert value == pytest.approx(printed, abs=1e-3)


def test_e2_of_2_exact_and_as_printed() -> None:
    # Printed 2.660, which comes from 3/1.128 = 2.6596; the exact value is 2.658681.
    assert 3 / constants.d2(2) == pytest.approx(2.658681, abs=1e-6)
    assert 3 / round(constants.d2(2), 3) == pytest.approx(2.660, abs=1e-3)


@pytest.mark.parametrize("n", [4, 30, 150])
def test_constants_by_simulation(n: int) -> None:
    samples = np.random.default_rng(11).normal(size=(20_000, n))
    ranges = np.ptp(samples, axis=1)
    sds = samples.std(axis=1, ddof=1)
    error = 4 / sqrt(20_000)
    assert constants.d2(n) == pytest.approx(ranges.mean(), abs=error * ranges.std())
    assert constants.d3(n) == pytest.approx(ranges.std(), abs=error * ranges.std())
    assert constants.c4(n) == pytest.approx(sds.mean(), abs=error * sds.std())


def test_c4_meets_itself_where_the_formula_changes() -> None:
    for n in (99, 100, 999, 1000, 100_000):
        series = 1 - 1 / (4 * n) - 7 / (32 * n**2) - 19 / (128 * n**3)
        assert constants.c4(n) == pytest.approx(series, abs=2 / n**4 + 1e-15)


@pytest.mark.parametrize(("n", "said"), [(1, "2 or more"), (0, "2 or more"), (-3, "2 or more"), (2.5, "whole number")])
def test_group_too_small(n: int, said: str) -> None:
    for function in (constants.c4, constants.d2, constants.d3):
        with pytest.raises(StatisticsError, match=said):
            function(n)
