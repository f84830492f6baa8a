"""Agreement of gauges, digit preference, and joint charts."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.charts import hotelling
from qclog.stats.gauges import agreement, components
from qclog.stats.rounded import digits
from tests.reference.conftest import Published


def test_peak_flow_meters(published: Published) -> None:
    # Bland & Altman, Lancet 1986 i 307: printed -2.1, 38.8, -79.7, 75.5, r 0.94, -22.1 .. 17.8, -114.3 .. -45.1
    # (worked from rounded values).
    c = published("bland_altman_1986_pefr")
    found = agreement.compare_gauges(c["wright1"], c["mini1"], factor=2, exact=False)
    assert found.bias.value == pytest.approx(-2.1176, abs=5e-5)
    assert found.sd.value == pytest.approx(38.7651, abs=5e-5)
    assert (found.lower.value, found.upper.value) == pytest.approx((-79.648, 75.413), abs=5e-4)
    assert (found.bias.lower, found.bias.upper) == pytest.approx((-22.05, 17.81), abs=5e-3)
    assert (found.lower.lower, found.lower.upper) == pytest.approx((-114.17, -45.13), abs=5e-3)
    assert np.corrcoef(c["wright1"], c["mini1"])[0, 1] == pytest.approx(0.943279, abs=5e-7)


def test_peak_flow_repeats(published: Published) -> None:
    # Same paper: within-subject sd 15.3067 (large meter) and 19.9108 (mini); repeatability coefficient printed
    # 43.2 for the large, recomputed 43.29 as 2 sd of the differences.
    c = published("bland_altman_1986_pefr")
    subject = list(range(17)) * 2
    for name, sd in (("wright", 15.3067), ("mini", 19.9108)):
        pair = np.concatenate([c[f"{name}1"], c[f"{name}2"]])
        inside = components.split_variance(pair, [subject]).levels[1]
        assert np.sqrt(inside.mean_square) == pytest.approx(sd, abs=5e-5)
    d = c["wright1"] - c["wright2"]
    assert 2 * np.sqrt((d**2).mean()) == pytest.approx(43.29, abs=6e-3)


def test_giavarina(published: Published) -> None:
    # Giavarina, Biochemia Medica 25(2) 2015: printed -27.2, 34.8, -95.4, 41.1.
    c = published("giavarina_2015")
    found = agreement.compare_gauges(c["method_a"], c["method_b"])
    assert found.bias.value == pytest.approx(-27.166667, abs=5e-7)
    assert found.sd.value == pytest.approx(34.805948, abs=5e-7)
    assert (found.lower.value, found.upper.value) == pytest.approx((-95.386325, 41.052992), abs=1e-6)
    assert (found.bias.lower, found.bias.upper) == pytest.approx((-40.163, -14.170), abs=5e-4)
    assert found.trend_p is not None
    assert found.trend_p < 0.05


def test_agreement_of_brackets_finds_bias_and_spread() -> None:
    rng = np.random.default_rng(1)
    true = rng.uniform(10, 60, 2000)
    a, b = np.floor(true + rng.normal(0.4, 0.6, 2000)), np.floor(true * 2) / 2
    found = agreement.compare_brackets((a, a + 1), (b, b + 0.5))
    assert found.bias.value == pytest.approx(0.4, abs=0.06)
    assert found.sd.value == pytest.approx(0.6, abs=0.06)
    assert found.bias.lower < 0.4 < found.bias.upper
    # Taking the mid-points at their word would call the rounding disagreement.
    assert agreement.compare_gauges(a + 0.5, b + 0.25).sd.value > 0.66


def test_brackets_of_no_width_are_exact_readings() -> None:
    x, y = np.random.default_rng(2).normal(0, 1, (2, 12))
    assert agreement.compare_brackets((x, x), (y, y)) == agreement.compare_gauges(x, y)
    thin = agreement.compare_brackets((x - 5e-4, x + 5e-4), (y, y))
    assert thin.sd.upper == pytest.approx(agreement.compare_gauges(x, y).sd.upper, rel=1e-3)


def test_brackets_that_explain_everything() -> None:
    low = np.array([15.0, 18, 22, 16, 19, 25])
    found = agreement.compare_brackets((low, low + 1), (low, low + 1))
    assert found.sd.lower == 0
    assert 0 < found.sd.upper < 1.5
    with pytest.raises(StatisticsError):
        agreement.compare_brackets(([1, 2, 3], [2, 3, np.inf]), ([1, 2, 3], [2, 3, 4]))
    with pytest.raises(StatisticsError):
        agreement.compare_gauges([1, 2, 3], [1, 2])
    with pytest.raises(TooFewError):
        agreement.compare_gauges([1, 2], [1, 2])
    assert agreement.compare_gauges([1, 2, 3], [1, 2, 3]).warnings == ("all differences are equal",)


def test_share_of_even_digits() -> None:
    # Exact binomial: 34 of 40 even p 8.4e-6, 20 of 24 p 0.00154.
    assert digits.judge_share(34, 40).p_value == pytest.approx(8.364584e-6, rel=1e-6)
    assert digits.judge_share(20, 24).p_value == pytest.approx(0.001543879, rel=1e-6)
    assert digits.judge_share(2, 3).warnings == ("too few to say",)
    # With five even leaves of seven, 34 of 40 is nothing strange.
    assert digits.judge_share(34, 40, expected_share=5 / 7).p_value > 0.05


LEAVES = [2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 15, 16, 18, 20, 22, 25, 30]


def test_leaf_set_is_the_null() -> None:
    rng = np.random.default_rng(3)
    level, blind = [], []
    for _ in range(150):
        true = np.clip(rng.normal(13 + rng.uniform(), 4, 60), 2.1, 29.9)
        read = np.array(LEAVES)[np.searchsorted(LEAVES, true, side="right") - 1]
        level.append(digits.judge_digits(read, step=1, leaves=LEAVES, modulus=2, trials=2000).p_value)
        blind.append(digits.judge_digits(read, step=1, modulus=2, trials=2000).p_value)
    assert np.mean(np.array(level) < 0.05) < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 150)
    # Without the leaf set every careful reader would be accused.
    assert np.mean(np.array(blind) < 0.05) > 0.9


def test_real_preference_is_found() -> None:
    rng = np.random.default_rng(4)
    read = np.round(rng.normal(25, 4, 80))
    odd = read % 2 == 1
    read[odd & (rng.random(80) < 0.8)] += 1
    found = digits.judge_digits(read, step=1, modulus=2)
    assert found.p_value < 1e-4
    assert sum(found.observed) == 80
    assert sum(found.expected) == pytest.approx(80)
    tenths = digits.judge_digits(np.round(rng.normal(3, 0.4, 300), 1), step=0.1)
    assert tenths.p_value > 0.001
    assert tenths.digits == tuple(range(10))
    with pytest.raises(StatisticsError):
        digits.judge_digits([2, 3, 4, 5, 9], step=1, leaves=[2, 3, 4, 5])
    with pytest.raises(TooFewError):
        digits.judge_digits([2, 4, 4, 6, 8], step=1, leaves=[2, 4, 6, 8], modulus=2)
    with pytest.raises(TooFewError):
        digits.judge_digits([2, 4], step=1)


def test_group_limits_of_the_textbook() -> None:
    # Montgomery, m 20, n 10, p 2, alpha 0.001: printed 13.72 and 15.16; chi-square 13.815511.
    baseline, later = hotelling.group_limits(20, 10, 2, false_alarm=0.001)
    assert baseline == pytest.approx(13.720742, abs=5e-7)
    assert later == pytest.approx(15.165030, abs=5e-7)
    assert stats.chi2.ppf(0.999, 2) == pytest.approx(13.815511, abs=5e-7)
    assert hotelling.group_limits(100_000, 10, 2, false_alarm=0.001)[1] == pytest.approx(13.8155, abs=1e-2)


def test_joint_limits_keep_their_false_alarm_rate() -> None:
    rng = np.random.default_rng(5)
    mix = np.array([[1, 0.8, 0], [0, 0.6, 0.3], [0, 0, 2]])
    inside, later, limits = [], [], None
    for _ in range(1500):
        units = rng.normal(size=(13, 3)) @ mix + [10, 20, 30]
        limits = hotelling.set_joint_baseline(units[:12], false_alarm=0.05)
        inside.append(limits.distances[0] > limits.baseline_limit)
        later.append(hotelling.judge_unit(limits, units[12]).beyond)
    assert limits is not None
    for found in (inside, later):
        assert np.mean(found) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 1500))
    assert limits.baseline_limit < limits.later_limit


def test_distances_by_definition_and_drivers() -> None:
    rng = np.random.default_rng(6)
    units = rng.multivariate_normal([10, 20, 30], np.array([[1, 0.9, 0], [0.9, 1, 0], [0, 0, 4]]), 80)
    found = hotelling.set_joint_baseline(units)
    d = units - units.mean(axis=0)
    expected = np.einsum("ij,jk,ik->i", d, np.linalg.inv(np.cov(units.T)), d)
    assert found.distances == pytest.approx(expected, rel=1e-9)
    assert found.distances.sum() == pytest.approx(79 * 3)
    # Neither of the first two is odd alone; together they break their habit.
    odd = hotelling.judge_unit(found, np.add(found.mean, [1.5, -1.5, 0]))
    assert odd.beyond
    assert {odd.drivers[0][0], odd.drivers[1][0]} == {0, 1}
    assert abs(odd.drivers[2][1]) < 3
    offset = hotelling.set_joint_baseline(units * [1, 1e-3, 1e3] + [1e7, 0, -1e6])
    assert offset.distances == pytest.approx(found.distances, rel=1e-6)


def test_joint_edges() -> None:
    for call, error in (
        (lambda: hotelling.set_joint_baseline([[1, 2], [2, 3], [3, 5]]), TooFewError),
        (lambda: hotelling.set_joint_baseline([[i, 2 * i] for i in range(9)]), StatisticsError),
        (lambda: hotelling.set_joint_baseline([[i, 3] for i in range(9)]), StatisticsError),
        (lambda: hotelling.set_joint_baseline([[1, np.nan]] * 9), StatisticsError),
        (lambda: hotelling.set_joint_baseline([1, 2, 3]), StatisticsError),
        (lambda: hotelling.set_joint_baseline([[1, 2], [3]]), StatisticsError),
        (lambda: hotelling.group_limits(1, 5, 2), TooFewError),
    ):
        with pytest.raises(error):
            call()
    base = hotelling.set_joint_baseline(np.random.default_rng(7).normal(size=(30, 2)))
    with pytest.raises(StatisticsError):
        hotelling.judge_unit(base, [1, 2, 3])
