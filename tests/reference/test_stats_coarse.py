"""Readings that are brackets or rounded: likelihood on intervals, shape-free estimate, Sheppard, step warning."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.intervals import estimate_normal
from qclog.stats.charts import bracket_limits
from qclog.stats.life.survival import estimate_survival
from qclog.stats.life.turnbull import estimate_shape_free
from qclog.stats.rounded import coarse
from qclog.stats.rounded.interval_fit import fit_normal
from tests.reference.conftest import Floats

BINNED = np.repeat([42.0, 47.0, 52.0, 57.0, 72.0], [1, 2, 3, 4, 1])
GEAR_5 = np.repeat(np.arange(196, 205) * 0.005, [3, 3, 9, 33, 37, 10, 3, 1, 1])
GEAR_10 = np.repeat(np.arange(98, 103) * 0.01, [5, 17, 68, 9, 1])


def test_binned_sample() -> None:
    # stats.stackexchange question 60256 (CC BY-SA): mean 53.818, s 7.8335, Sheppard 7.70, ML sd sqrt(n/(n-1)) 7.69.
    assert BINNED.mean() == pytest.approx(53.81818, abs=5e-6)
    found = coarse.correct_spread(BINNED, 5)
    assert found.raw_sd == pytest.approx(7.833495, abs=5e-7)
    assert found.sd == pytest.approx(7.699370, abs=5e-7)
    fit = fit_normal(*coarse.bracket(BINNED, 5))
    assert fit.mean.value == pytest.approx(53.819958, abs=5e-7)
    assert fit.sd.value == pytest.approx(7.330193, abs=5e-7)
    assert fit.sd_unbiased == pytest.approx(7.687971, abs=5e-7)
    assert fit.log_likelihood == pytest.approx(-20.023532, abs=5e-7)


@pytest.mark.parametrize(
    ("values", "step", "mean", "sd", "sheppard", "raw"),
    # GEAR diameters rounded; Sheppard on the spread with n.
    [
        (GEAR_5, 0.005, 0.99754999, 0.00630399, 0.00629795, 0.00646123),
        (GEAR_10, 0.01, 0.99837462, 0.00633658, 0.00625353, 0.00688767),
    ],
)
def test_gear_rounded(values: Any, step: float, mean: float, sd: float, sheppard: Any, raw: Any) -> None:
    fit = fit_normal(*coarse.bracket(values, step))
    assert fit.mean.value == pytest.approx(mean, abs=6e-9)
    assert fit.sd.value == pytest.approx(sd, abs=6e-9)
    corrected = coarse.correct_spread(values, step, ddof=0)
    assert corrected.corrected == pytest.approx(sheppard, abs=6e-9)
    assert corrected.raw_sd == pytest.approx(raw, abs=6e-9)


def test_gear_at_its_own_step(gear: list[Floats]) -> None:
    fit = fit_normal(*coarse.bracket(np.concatenate(gear), 0.001))
    assert fit.mean.value == pytest.approx(0.9976400, abs=5e-8)
    assert fit.sd.value == pytest.approx(0.00624077, abs=6e-9)
    corrected = coarse.correct_spread(np.concatenate(gear), 0.001, ddof=0)
    assert corrected.corrected == pytest.approx(0.00624076, abs=6e-9)


def test_fit_is_the_maximum_by_general_search() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        n = int(rng.integers(4, 20))
        x = rng.normal(15, 2, n)
        low, high = np.floor(x), np.floor(x) + rng.choice([1.0, 2.0], n)
        low[0], high[1] = -np.inf, np.inf
        low[2] = high[2] = x[2]
        if np.delete(low, 0).max() <= np.delete(high, 1).min():
            continue

        def loss(p: Floats, low: Floats = low, high: Floats = high) -> float:
            sd = np.exp(p[1])
            exact = low == high
            mass = stats.norm.cdf(high, p[0], sd) - stats.norm.cdf(low, p[0], sd)
            outside = np.log(np.maximum(mass[~exact], 1e-300)).sum()
            return -float(outside + stats.norm.logpdf(low[exact], p[0], sd).sum())

        best = optimize.minimize(loss, [15, 0.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
        fit = fit_normal(low, high)
        assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-7)
        assert fit.mean.value == pytest.approx(best.x[0], abs=1e-4)
        assert fit.sd.value == pytest.approx(np.exp(best.x[1]), abs=1e-4)
        assert fit.mean.lower < fit.mean.value < fit.mean.upper
        assert fit.sd.lower < fit.sd.value < fit.sd.upper


def test_exact_readings_give_student_and_chi_square() -> None:
    x = np.random.default_rng(2).normal(3, 1, 12)
    wide, exact, thin = estimate_normal(x), fit_normal(x, x), fit_normal(x - 1e-6, x + 1e-6)
    for other in (exact, thin):
        for ours, plain in ((other.mean, wide.mean), (other.sd, wide.sd)):
            assert (ours.lower, ours.upper) == pytest.approx((plain.lower, plain.upper), rel=1e-5)
    assert exact.sd_unbiased == pytest.approx(wide.sd.value, rel=1e-12)


def test_huge_offset_changes_nothing() -> None:
    near = fit_normal([0, 1, 1, 2, 4], [1, 2, 2, 3, 5])
    far = fit_normal(*(np.array(v) + 10_000_000.0 for v in ([0, 1, 1, 2, 4], [1, 2, 2, 3, 5])))
    assert far.sd.value == pytest.approx(near.sd.value, rel=1e-9)
    assert far.sd.upper == pytest.approx(near.sd.upper, rel=1e-6)
    assert far.mean.value - 1e7 == pytest.approx(near.mean.value, abs=1e-7)


def test_all_in_one_step_bounds_the_spread_from_above() -> None:
    fit = fit_normal([15] * 6, [16] * 6)
    assert (fit.mean.value, fit.sd.value, fit.sd.lower) == (15.5, 0, 0)
    assert fit.mean.lower <= 15
    assert 0 < fit.sd.upper < 2
    assert fit.warnings
    more = fit_normal([15] * 60, [16] * 60)
    assert more.sd.upper < fit.sd.upper
    # Two neighbouring steps: the likelihood is highest as the spread goes to 0 at the edge between.
    edge = fit_normal([15, 15, 15, 16], [16, 16, 16, 17])
    assert (edge.mean.value, edge.sd.value) == (16, 0)
    assert edge.log_likelihood == pytest.approx(3 * np.log(3 / 4) + np.log(1 / 4))
    assert edge.mean.lower < 15.6
    assert edge.mean.upper > 16


def test_what_no_fit_can_come_from() -> None:
    for low, high, error in (
        ([1], [2], TooFewError),
        ([1, 2], [np.inf, np.inf], TooFewError),
        ([1, -np.inf], [np.inf, 0], TooFewError),
        ([1, -np.inf], [np.inf, 9], TooFewError),
        ([1, 2], [0, 3], StatisticsError),
        ([1, np.nan], [2, 3], StatisticsError),
        ([1, -np.inf], [2, np.inf], StatisticsError),
        ([1, 2, 3], [2, 3], StatisticsError),
        (["x"], [2], StatisticsError),
    ):
        with pytest.raises(error):
            fit_normal(low, high)


def test_shape_free_is_kaplan_meier_for_units_still_running() -> None:
    # With exact and right-open readings Turnbull's estimate is Kaplan and Meier's: Freireich's 6-MP arm.
    times = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35.0])
    event = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0], bool)
    plain = estimate_survival(times, event)
    free = estimate_shape_free(times, np.where(event, times, np.inf), tolerance=1e-13)
    for t, s in zip(plain.times, plain.surviving, strict=True):
        assert 1 - free.share_below(t)[0] == pytest.approx(s, abs=1e-7)


def test_shape_free_is_the_maximum_by_general_search() -> None:
    # Overlapping brackets: best weights on a fine grid by another method (multiplicative updates on the grid).
    rng = np.random.default_rng(3)
    x = rng.normal(10, 2, 30)
    low = np.floor(x) - rng.integers(0, 2, 30)
    high = np.floor(x) + 1 + rng.integers(0, 2, 30)
    free = estimate_shape_free(low, high, tolerance=1e-12)
    grid = np.arange(low.min(), high.max()) + 0.5
    cover = (low[:, None] < grid) & (grid < high[:, None])
    found = optimize.minimize(
        lambda p: -np.log(cover @ (np.exp(p) / np.exp(p).sum())).sum(), np.zeros(grid.size), method="BFGS"
    )
    assert free.log_likelihood == pytest.approx(-found.fun, abs=2e-3)
    assert free.log_likelihood >= -found.fun - 1e-6
    assert sum(free.mass) == pytest.approx(1)


def test_shape_free_of_separate_steps_is_the_histogram() -> None:
    free = estimate_shape_free([14, 15, 15, 17], [15, 16, 16, 18])
    assert free.lower == (14, 15, 17)
    assert free.mass == pytest.approx((0.25, 0.5, 0.25))
    assert free.share_below(15) == pytest.approx((0.25, 0.25))
    assert free.share_below(15.5) == pytest.approx((0.25, 0.75))


def test_sheppard_only_where_it_holds() -> None:
    rng = np.random.default_rng(4)
    bell = coarse.correct_spread(np.round(rng.normal(0, 1.2, 5000)), 1)
    assert bell.allowed
    assert bell.sd == pytest.approx(1.2, rel=0.03)
    even = coarse.correct_spread(np.round(rng.uniform(0, 10, 500)), 1)
    assert not even.allowed
    assert even.sd == even.raw_sd
    assert "evenly" in even.warnings[0]
    coarse_step = coarse.correct_spread([15, 15, 15, 16, 15, 15, 15], 1)
    assert not coarse_step.allowed
    assert coarse.correct_spread([2, 2, 2], 1).corrected == 0


def test_step_warning() -> None:
    assert str(coarse.step_warning([15, 16, 15, 15, 16], 1)).startswith("too coarse to chart: a step of 1")
    assert coarse.step_warning([10, 14, 11, 16, 9], 1) is None
    assert coarse.step_warning([15, 15, 15], 1) is not None
    assert coarse.step_warning([15], 1) is None
    assert coarse.step_warning([15, 16], 0) is None
    assert coarse.step_warning([1, 2, 3], 1, sigma=0.9) is not None
    assert coarse.step_warning([1, 2, 3], 0.1, sigma=0.1) is None
    with pytest.raises(StatisticsError):
        coarse.step_warning([1, 2], -1)


def test_mean_moving_range_needs_no_correction_for_rounding() -> None:
    # Over all positions of the grid E|rounded difference| = E|difference|; this is why the warning uses it raw.
    rng = np.random.default_rng(5)
    x = rng.normal(0, 1, (2000, 50)) + rng.uniform(0, 1.5, (2000, 1))
    rounded = np.round(x / 1.5) * 1.5
    assert np.abs(np.diff(rounded)).mean() == pytest.approx(np.abs(np.diff(x)).mean(), rel=0.01)


def test_midpoints_are_for_drawing() -> None:
    assert coarse.midpoints([15, 16], [16, 18]).tolist() == [15.5, 17]
    with pytest.raises(StatisticsError):
        coarse.midpoints([15, 16], [16])


def test_limits_of_brackets_see_through_the_steps() -> None:
    rng = np.random.default_rng(6)
    x = rng.normal(20.3, 1, 4000)
    low = np.floor(x)
    found = bracket_limits.individuals_from_brackets(low, low + 1)
    assert found.centre == pytest.approx(20.3, abs=0.06)
    assert found.sigma == pytest.approx(1, abs=0.04)
    assert found.enough
    # Only a bracket wholly beyond is a signal.
    marks = bracket_limits.mark_beyond(found, [24, 23, 20, 15], [25, 24, 21, 16])
    assert marks.tolist() == [True, False, False, True]
    exact = bracket_limits.individuals_from_brackets(x[:50], x[:50])
    assert exact.sigma == pytest.approx(np.std(x[:50], ddof=1), rel=1e-9)
    few = bracket_limits.individuals_from_brackets([15, 15, 15], [16, 16, 16])
    assert few.warnings[0] == "too few to set limits: 3 of 10"
    assert few.warnings[-1].startswith("too coarse to chart")


@pytest.mark.parametrize("n", [3, 5, 20])
@pytest.mark.parametrize("step", [0.5, 1.0, 2.0])
def test_prediction_from_brackets_keeps_its_false_alarm_rate(n: int, step: float) -> None:
    rng = np.random.default_rng(7)
    outside = []
    for _ in range(250):
        x = rng.normal(rng.uniform(0, step), 1, n + 1)
        low = np.floor(x[:n] / step) * step
        found = bracket_limits.prediction_from_brackets(low, low + step, false_alarm=0.05)
        outside.append(not found.lower <= x[n] <= found.upper)
    assert np.mean(outside) < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 250)
    with pytest.raises(StatisticsError):
        bracket_limits.prediction_from_brackets([1, 2, 3], [2, 3, np.inf])


def test_exact_reading_inside_the_others() -> None:
    fit = fit_normal([5, 5, 4], [5, 6, 6])
    assert (fit.mean.value, fit.sd.value, fit.log_likelihood) == (5, 0, np.inf)
    assert fit.warnings


def test_any_brackets_give_a_fit_or_a_reason() -> None:
    rng = np.random.default_rng(8)
    for _ in range(400):
        n = int(rng.integers(2, 9))
        low = rng.integers(0, 12, n) * float(rng.choice([0.01, 1, 1000]))
        high = low + rng.integers(0, 4, n) * float(rng.choice([0.01, 1, 1000]))
        open_end = rng.random(n)
        low, high = np.where(open_end < 0.1, -np.inf, low), np.where(open_end > 0.9, np.inf, high)
        try:
            fit = fit_normal(low, high)
        except TooFewError as error:
            assert error.field
            continue
        if (low == high).any() and fit.sd.value == 0:
            continue
        for found in (fit.mean, fit.sd):
            assert found.lower <= found.value * (1 + 1e-9) or found.value < 0
            assert found.value <= found.upper
