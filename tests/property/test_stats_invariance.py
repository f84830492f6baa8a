"""What must hold for any readings: another origin or unit changes nothing, order counts where it should."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qclog.errors import StatisticsError
from qclog.stats.base import summary
from qclog.stats.charts import change_point, cusum, ewma, family, group_limits, limits, run_tests, short_runs
from qclog.stats.compare import groups
from qclog.stats.life import turnbull
from qclog.stats.rounded import coarse, interval_fit
from qclog.stats.spread import capability, normality, outliers, tolerance

# Quarters, and powers of two as units, so that moving and stretching are exact in doubles.
QUARTERS = st.integers(-400, 400).map(lambda k: k / 4)
SERIES = st.lists(QUARTERS, min_size=4, max_size=40)
MOVES = st.tuples(st.integers(-(10**6), 10**6), st.sampled_from([0.25, 0.5, 2.0, 64.0]))
quick = settings(max_examples=60, deadline=None)


def moved(values: Any, move: Any) -> Any:
    shift, scale = move
    return np.asarray(values) * scale + shift


@quick
@given(SERIES, MOVES)
def test_limits_move_with_the_readings(values: Any, move: Any) -> None:
    shift, scale = move
    for function in (limits.individuals, limits.prediction):
        before, after = function(values), function(moved(values, move))
        assert after.lower == pytest.approx(before.lower * scale + shift, rel=1e-9, abs=1e-7 * scale)
        assert after.upper == pytest.approx(before.upper * scale + shift, rel=1e-9, abs=1e-7 * scale)
        assert after.upper - after.lower == pytest.approx((before.upper - before.lower) * scale, rel=1e-7, abs=1e-7)


@quick
@given(SERIES, MOVES)
def test_summary_moves_with_the_readings(values: Any, move: Any) -> None:
    shift, scale = move
    before, after = summary.summarise(values), summary.summarise(moved(values, move))
    assert after.mean == pytest.approx(before.mean * scale + shift, rel=1e-12, abs=1e-9)
    assert after.sd == pytest.approx(before.sd * scale, rel=1e-9, abs=1e-9)
    assert after.median == before.median * scale + shift


@quick
@given(SERIES)
def test_mirrored_readings_have_mirrored_limits(values: Any) -> None:
    before, after = limits.individuals(values), limits.individuals(-np.asarray(values))
    assert after.lower == pytest.approx(-before.upper, abs=1e-9)
    assert after.sigma == pytest.approx(before.sigma)


@quick
@given(SERIES, st.randoms(use_true_random=False))
def test_order_counts_for_moving_ranges_only(values: Any, random: Any) -> None:
    shuffled = values.copy()
    random.shuffle(shuffled)
    assert limits.prediction(shuffled).upper == pytest.approx(limits.prediction(values).upper, abs=1e-9)
    assert summary.summarise(shuffled).sd == pytest.approx(summary.summarise(values).sd, abs=1e-9)
    ordered = limits.individuals(sorted(values))
    # Sorted readings have the smallest possible sum of moving ranges.
    assert ordered.sigma <= limits.individuals(values).sigma + 1e-9


def test_order_counts_where_it_should() -> None:
    up_and_down = [1, 5, 1, 5, 1, 5, 1, 5]
    in_two_blocks = sorted(up_and_down)
    assert limits.individuals(up_and_down).sigma > 3 * limits.individuals(in_two_blocks).sigma
    assert change_point.find_change(in_two_blocks).p_value < change_point.find_change(up_and_down).p_value
    assert cusum.chart(in_two_blocks, 3, 2).upper[-1] > cusum.chart(up_and_down, 3, 2).upper[-1]


@quick
@given(SERIES, MOVES)
def test_signals_do_not_depend_on_the_unit(values: Any, move: Any) -> None:
    shift, scale = move
    here = run_tests.find(values, 1.0, 8.0)
    assert run_tests.find(moved(values, move), scale + shift, 8.0 * scale) == here
    for signal in here:
        assert 0 <= signal.first <= signal.at <= signal.last < len(values)
    sums, far_sums = cusum.chart(values, 1, 8), cusum.chart(moved(values, move), scale + shift, 8 * scale)
    assert far_sums.upper == pytest.approx(sums.upper, abs=1e-6)
    line, far_line = ewma.chart(values, 1, 8), ewma.chart(moved(values, move), scale + shift, 8 * scale)
    assert far_line.averages == pytest.approx(moved(line.averages, move), rel=1e-9, abs=1e-6)


@quick
@given(SERIES)
def test_mirrored_readings_signal_on_the_other_side(values: Any) -> None:
    swap = {"high": "low", "low": "high", "": ""}
    here = {(s.test, s.first, s.at, s.last, swap[s.side]) for s in run_tests.find(values, 0, 8)}
    there = {(s.test, s.first, s.at, s.last, s.side) for s in run_tests.find(-np.asarray(values), 0, 8)}
    assert here == there


@quick
@given(SERIES, MOVES)
def test_self_starting_scores_are_unit_free(values: Any, move: Any) -> None:
    here, there = short_runs.score(values).scores, short_runs.score(moved(values, move)).scores
    assert np.isnan(here).tolist() == np.isnan(there).tolist()
    known = ~np.isnan(here)
    assert there[known] == pytest.approx(here[known], rel=1e-4, abs=1e-5)


@quick
@given(SERIES, MOVES)
def test_change_point_is_unit_free(values: Any, move: Any) -> None:
    here, there = change_point.find_change(values), change_point.find_change(moved(values, move))
    # Two splits may be equally good; what must agree is how good the best is.
    assert there.residual_squares == pytest.approx(here.residual_squares * move[1] ** 2, rel=1e-7, abs=1e-7)
    assert there.p_value == pytest.approx(here.p_value, rel=1e-5, abs=1e-9)
    assert change_point.find_rank_change(moved(values, move)) == change_point.find_rank_change(values)


@quick
@given(st.lists(st.integers(0, 30), min_size=3, max_size=25), MOVES)
def test_interval_fit_moves_with_the_readings(values: Any, move: Any) -> None:
    shift, scale = move
    low, high = np.array(values, float), np.array(values, float) + 1
    here = interval_fit.fit_normal(low, high)
    there = interval_fit.fit_normal(moved(low, move), moved(high, move))
    assert there.mean.value == pytest.approx(here.mean.value * scale + shift, abs=1e-5 * scale)
    assert there.sd.value == pytest.approx(here.sd.value * scale, rel=1e-5, abs=1e-6 * scale)
    assert there.sd.upper == pytest.approx(here.sd.upper * scale, rel=1e-4)
    assert here.sd.lower <= here.sd.value <= here.sd.upper
    assert here.mean.lower <= here.mean.value <= here.mean.upper
    assert there.mean.lower == pytest.approx(here.mean.lower * scale + shift, abs=1e-3 * scale)


@quick
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 6)), min_size=1, max_size=15))
def test_shape_free_estimate_is_a_distribution(brackets: Any) -> None:
    low = [a for a, _ in brackets]
    high = [a + w for a, w in brackets]
    found = turnbull.estimate_shape_free(low, high)
    assert sum(found.mass) == pytest.approx(1)
    assert all(a < b for a, b in zip(found.lower, found.upper, strict=True))
    assert all(b <= a for b, a in zip(found.upper, found.lower[1:], strict=False))
    # No bracket may be left without any chance.
    for a, b in zip(low, high, strict=True):
        inside = [m for m, u, v in zip(found.mass, found.lower, found.upper, strict=True) if a <= u and v <= b]
        assert sum(inside) > 0


@quick
@given(SERIES, MOVES)
def test_tests_of_shape_are_unit_free(values: Any, move: Any) -> None:
    here, there = normality.check_normality(values), normality.check_normality(moved(values, move))
    if here.anderson_darling is not None:
        assert there.anderson_darling == pytest.approx(here.anderson_darling, rel=1e-5, abs=1e-7)
        assert there.shapiro_wilk == pytest.approx(here.shapiro_wilk, abs=1e-5)
    one, other = outliers.judge_furthest(values), outliers.judge_furthest(moved(values, move))
    assert other.statistic == pytest.approx(one.statistic, rel=1e-7, abs=1e-9)


@quick
@given(SERIES, MOVES)
def test_capability_is_unit_free(values: Any, move: Any) -> None:
    shift, scale = move
    if np.ptp(values) == 0:
        with pytest.raises(StatisticsError):
            capability.assess(values, lower=-101, upper=101)
        return
    here = capability.assess(values, lower=-101, upper=101)
    there = capability.assess(moved(values, move), lower=-101 * scale + shift, upper=101 * scale + shift)
    for name in ("pp", "ppk", "share_outside"):
        a, b = getattr(here, name), getattr(there, name)
        assert (b.lower, b.value, b.upper) == pytest.approx((a.lower, a.value, a.upper), rel=1e-5, abs=1e-7)
        assert a.lower <= a.value <= a.upper or name == "share_outside"


@quick
@given(st.lists(st.lists(QUARTERS, min_size=2, max_size=8), min_size=2, max_size=6), MOVES)
def test_group_statistics_are_unit_free(several: Any, move: Any) -> None:
    far = [moved(g, move) for g in several]
    here, there = groups.compare_means(several), groups.compare_means(far)
    assert there.squares_within == pytest.approx(here.squares_within * move[1] ** 2, rel=1e-7, abs=1e-7)
    assert there.squares_between == pytest.approx(here.squares_between * move[1] ** 2, rel=1e-6, abs=1e-6)
    assert groups.compare_ranks(far).p_value == pytest.approx(groups.compare_ranks(several).p_value)
    near = group_limits.mean_and_sd(several)
    out = group_limits.mean_and_sd(far)
    assert out.sigma == pytest.approx(near.sigma * move[1], rel=1e-7, abs=1e-7)


@given(st.integers(2, 200), st.floats(0.5, 0.999), st.floats(0.5, 0.995))
@settings(max_examples=40, deadline=None)
def test_fewer_readings_mean_wider_limits(n: int, coverage: Any, confidence: float) -> None:
    assert tolerance.two_sided_factor(n, coverage, confidence) > tolerance.two_sided_factor(n + 1, coverage, confidence)
    assert tolerance.two_sided_factor(n, coverage, confidence) > tolerance.two_sided_factor(
        n, coverage * 0.9, confidence
    )
    pattern = [10.0, 12.0]
    few, many = limits.prediction(pattern * n), limits.prediction(pattern * (n + 1))
    assert few.factor > many.factor > 3
    assert capability.bound_two_sided(1.3, n).lower < capability.bound_two_sided(1.3, n + 1).lower


def test_a_kind_with_fewer_units_has_wider_limits() -> None:
    units = np.tile([9.0, 11.0], 20)
    found = family.pool_spread({str(n): units[:n] for n in (2, 4, 10, 30)})
    widths = [k.upper - k.lower for k in found.kinds.values()]
    assert widths == sorted(widths, reverse=True)


@quick
@given(st.lists(st.floats(-1e6, 1e6), min_size=0, max_size=12), st.floats(0.01, 10))
def test_nothing_but_our_own_errors_comes_out(values: Any, step: float) -> None:
    for function in (
        limits.individuals,
        limits.prediction,
        summary.summarise,
        change_point.find_change,
        normality.check_normality,
        outliers.judge_furthest,
        outliers.find_extreme_deviates,
        short_runs.score,
        lambda v: coarse.step_warning(v, step),
        lambda v: coarse.correct_spread(v, step),
        lambda v: capability.assess(v, upper=0.5),
        lambda v: run_tests.find(v, 0, 1),
    ):
        try:
            function(values)
        except StatisticsError as error:
            assert error.field


@pytest.mark.parametrize("tiny", [4e-240, 1e-300, 5e-324])
def test_a_spread_whose_square_vanishes_still_has_a_shape(tiny: float) -> None:
    """The shape has no scale: the same three readings give the same answer however small they are."""
    from qclog.stats.spread.normality import check_normality

    one, two = check_normality([0.0, 0.0, 1.0]), check_normality([0.0, 0.0, tiny])
    assert two.warnings == one.warnings
    if tiny > 1e-307:
        assert two.anderson_darling == pytest.approx(one.anderson_darling)
