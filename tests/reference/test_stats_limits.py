"""Limits for single readings and for groups."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base import constants
from qclog.stats.charts import baseline, group_limits
from qclog.stats.charts.limits import individuals, prediction
from tests.reference.conftest import Floats

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_flow_rates_as_printed() -> None:
    # NIST e-Handbook 6.3.2.2: mean 50.81, mean MR 1.8778, limits 55.8041 and 45.8159 (d2 rounded to 1.128).
    found = individuals(FLOW, d2=1.128)
    assert found.centre == pytest.approx(50.81, abs=1e-12)
    assert found.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert found.upper == pytest.approx(55.8041, abs=5e-5)
    assert found.lower == pytest.approx(45.8159, abs=5e-5)
    assert individuals(FLOW, exact=False).upper == pytest.approx(55.8041, abs=5e-5)


def test_flow_rates_exact() -> None:
    # Exact d2 = 2/sqrt(pi): 55.80241 and 45.81759; moving-range limit 6.13382.
    found = individuals(FLOW)
    assert found.upper == pytest.approx(55.80241168005054, rel=1e-12)
    assert found.lower == pytest.approx(45.81758831994946, rel=1e-12)
    assert found.upper == pytest.approx(55.8041, abs=2e-3)
    assert found.moving_range_upper == pytest.approx(6.13382, abs=5e-6)
    assert not any(x < found.lower or x > found.upper for x in FLOW)
    assert found.enough
    assert found.warnings == ()


def test_too_few_to_set_limits_is_said_but_shown() -> None:
    found = individuals(FLOW[:4])
    assert not found.enough
    assert "too few to set limits: 4 of 10" in found.warnings
    assert found.upper > found.lower
    with pytest.raises(TooFewError) as caught:
        individuals([5.0])
    assert caught.value.found == 1


def test_median_moving_range_resists_wild_readings() -> None:
    rng = np.random.default_rng(3)
    clean = rng.normal(20, 1, 20_000)
    assert individuals(clean, moving_range="median").sigma == pytest.approx(1, abs=0.03)
    wild = clean.copy()
    wild[::50] += 40
    assert individuals(wild, moving_range="median").sigma < 1.1
    assert individuals(wild).sigma > 1.9


def test_series_of_other_kinds_give_the_same() -> None:
    assert individuals(pl.Series(FLOW)) == individuals(FLOW) == individuals(np.array(FLOW))


def test_huge_offset_keeps_its_digits() -> None:
    rng = np.random.default_rng(5)
    small = np.round(rng.normal(0, 0.1, 50), 1)
    near, far = individuals(small), individuals(small + 10_000_000.2)
    assert far.sigma == pytest.approx(near.sigma, rel=1e-7)
    assert prediction(small + 10_000_000.2).sd == pytest.approx(prediction(small).sd, rel=1e-7)


def test_all_equal_and_bad_settings() -> None:
    found = individuals([4.0] * 12)
    assert found.sigma == 0
    assert found.lower == found.upper == 4
    assert any("equal" in w for w in found.warnings)
    assert any("use the mean" in w for w in individuals([1, 1, 1, 1, 2, 2, 2] * 2, moving_range="median").warnings)
    for keywords in ({"factor": 0}, {"factor": float("nan")}, {"moving_range": "mode"}, {"d2": -1}):
        with pytest.raises(StatisticsError):
            individuals(FLOW, **keywords)


@pytest.mark.parametrize("n", [2, 3, 8])
def test_prediction_limits_keep_their_false_alarm_rate(n: int) -> None:
    samples = np.random.default_rng(7).normal(size=(20_000, n + 1))
    past, following = samples[:, :n], samples[:, n]
    factor = prediction(past[0], false_alarm=0.05).factor
    outside = np.abs(following - past.mean(axis=1)) > factor * past.std(axis=1, ddof=1)
    assert outside.mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 20_000))


def test_prediction_formula_and_limit_of_many() -> None:
    found = prediction([1.0, 2.0, 4.0], false_alarm=0.0027)
    t = stats.t.ppf(1 - 0.00135, 2)
    assert found.upper == pytest.approx(7 / 3 + t * np.std([1, 2, 4], ddof=1) * np.sqrt(4 / 3), rel=1e-12)
    many = np.random.default_rng(1).normal(size=200_000)
    assert prediction(many, false_alarm=0.0026998).factor == pytest.approx(3, abs=1e-3)


def test_gear_batches(gear: list[Floats]) -> None:
    # NIST e-Handbook GEAR data: grand mean 0.99764, mean range 0.0181, mean s 0.0055829281.
    by_range, by_sd = group_limits.mean_and_range(gear), group_limits.mean_and_sd(gear)
    assert by_range.centre == pytest.approx(0.99764, abs=1e-12)
    assert by_range.mean_spread == pytest.approx(0.0181, abs=1e-12)
    assert by_sd.mean_spread == pytest.approx(0.0055829281, abs=5e-11)
    means = [0.998, 0.9991, 0.9954, 0.9982, 0.9919, 0.9988, 1.0015, 1.0004, 0.9983, 0.9948]
    assert by_sd.means == pytest.approx(means, abs=1e-12)
    # Equal sizes: the limits are the tabled constants times the mean range or mean s.
    assert by_range.upper[0] == pytest.approx(0.99764 + constants.mean_from_range(10) * 0.0181, abs=1e-12)
    assert by_range.spread_upper[0] == pytest.approx(constants.range_limits(10)[1] * 0.0181, abs=1e-12)
    assert by_sd.upper[3] == pytest.approx(0.99764 + constants.mean_from_sd(10) * by_sd.mean_spread, abs=1e-12)
    assert by_sd.spread_lower[3] == pytest.approx(constants.sd_limits(10)[0] * by_sd.mean_spread, abs=1e-12)


def test_three_way_chart(gear: list[Floats]) -> None:
    found = group_limits.between_within(gear)
    means = np.array([g.mean() for g in gear])
    bar = np.abs(np.diff(means)).mean()
    within = np.mean([g.std(ddof=1) for g in gear]) / constants.c4(10)
    assert found.means.upper == pytest.approx(means.mean() + 3 * bar / constants.d2(2), rel=1e-12)
    between = max(0, (bar / constants.d2(2)) ** 2 - within**2 / 10)
    assert found.sigma_between == pytest.approx(np.sqrt(between), rel=1e-9)
    assert found.sigma_total == pytest.approx(np.sqrt(between + within**2), rel=1e-9)


def test_three_way_chart_finds_the_spreads_it_was_given() -> None:
    rng = np.random.default_rng(2)
    units = [c + rng.normal(0, 0.5, 4) for c in rng.normal(30, 2, 4000)]
    found = group_limits.between_within(units)
    assert found.sigma_between == pytest.approx(2, rel=0.05)
    assert found.sigma_within == pytest.approx(0.5, rel=0.03)
    alike = [rng.normal(30, 1, 4) for _ in range(400)]
    # The positions of a unit alike: hardly any spread between, and 0 where the estimate is negative.
    assert group_limits.between_within(alike).sigma_between < 0.35
    zero = group_limits.between_within([[1, 3], [1.1, 2.9], [0.9, 3.1]])
    assert zero.sigma_between == 0
    assert any("between is 0" in w for w in zero.warnings)


def test_unequal_groups_widen_for_the_small() -> None:
    rng = np.random.default_rng(4)
    groups = [rng.normal(10, 1, n) for n in (2, 5, 9, 3)]
    found = group_limits.mean_and_range(groups)
    widths = np.subtract(found.upper, found.lower)
    assert list(np.argsort(widths)) == [2, 1, 3, 0]
    with pytest.raises(TooFewError):
        group_limits.mean_and_sd([[1, 2], [3]])


def test_baseline_is_rebased_with_a_reason_and_kept() -> None:
    first = baseline.set_baseline(
        FLOW, since=datetime(2026, 1, 5, tzinfo=UTC), by="Heron", reason="first ten units", last=5
    )
    second = baseline.set_baseline(
        FLOW, since=datetime(2026, 3, 1, tzinfo=UTC), by="Ash", reason="new setup", first=5, history=first
    )
    assert [e.reason for e in second.entries] == ["first ten units", "new setup"]
    assert second.current.limits == individuals(FLOW[5:])
    assert second.at(datetime(2026, 2, 1, tzinfo=UTC)) == first.current
    assert second.at(datetime(2025, 1, 1, tzinfo=UTC)) == first.current
    for keywords in (
        {"reason": " "},
        {"by": ""},
        {"first": 9, "last": 3},
        {"last": 99},
        {"since": datetime(2025, 12, 1, tzinfo=UTC)},
    ):
        settings: dict[str, Any] = {
            "since": datetime(2026, 4, 1, tzinfo=UTC),
            "by": "Ash",
            "reason": "x",
            "history": second,
        }
        with pytest.raises(StatisticsError):
            baseline.set_baseline(FLOW, **(settings | keywords))
