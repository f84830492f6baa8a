"""Heavy tails and lent spreads against SciPy, the formulas of the papers and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from qclog.stats.charts.family import pool_spread
from qclog.stats.spread.lent_spread import LentSpread, lend_spread
from qclog.stats.spread.tails import Tail, fit_tail, normal_scores


@pytest.mark.parametrize("freedom", [3.0, 5.0])
def test_the_freedom_of_students_t_is_near_what_scipy_fits_to_all_values(freedom: float) -> None:
    """SciPy's maximum likelihood has no outer share to leave aside; on 20,000 values the two agree to a grid step."""
    values = stats.t.rvs(freedom, size=20_000, random_state=1)
    by_scipy, _, scale = stats.t.fit(values, floc=0)
    tail = fit_tail(values)
    assert tail.freedom == pytest.approx(by_scipy, rel=0.2)
    assert tail.scale == pytest.approx(scale, rel=0.06)


def test_normal_values_stay_normal_and_few_say_nothing() -> None:
    """Of a hundred normal samples at most a few pass for heavier."""
    rng = np.random.default_rng(2)
    heavy = [np.isfinite(fit_tail(rng.normal(size=700)).freedom) for _ in range(100)]
    assert sum(heavy) <= 4
    assert fit_tail(rng.standard_t(2.2, 50)) == Tail(50, float("inf"), 1.0)


def test_a_few_faults_make_no_heavy_tail_and_a_contaminated_kind_does() -> None:
    """Four values of seven hundred far out are faults; five in a hundred of three times the spread are its nature."""
    rng = np.random.default_rng(3)
    with_faults = np.concatenate([rng.normal(size=696), rng.uniform(6, 9, 4)])
    assert np.isinf(fit_tail(with_faults).freedom)
    wide = rng.random(4_000) < 0.05
    assert fit_tail(rng.normal(size=4_000) * np.where(wide, 3.0, 1.0)).freedom <= 8


@pytest.mark.parametrize("step", [0.5, 1.0, 1.5])
def test_coarse_steps_are_no_heavy_tail(step: float) -> None:
    rng = np.random.default_rng(4)
    heavy = 0
    for _ in range(40):
        values = np.round((rng.normal(size=900) + rng.uniform(0, step)) / step) * step
        values = (values - values.mean()) / values.std()
        heavy += np.isfinite(fit_tail(values, step).freedom)
    assert heavy <= 3


def test_kin_lend_their_tail_to_few_values() -> None:
    kin = Tail(5_000, 4.0, 0.9)
    assert fit_tail([0.5] * 20, kin=kin) == Tail(20, 4.0, 0.9)
    mixed = stats.t.rvs(4, size=150, random_state=5) * 0.9
    assert fit_tail(mixed, kin=kin).freedom <= 6
    assert np.isinf(fit_tail(stats.uniform.rvs(-1.7, 3.4, size=2_000, random_state=6), kin=kin).freedom)


def test_normal_scores_have_the_same_tail() -> None:
    """SciPy: z with P(N > z) = P(scale t > x)."""
    x = np.array([0.0, 0.7, 2.0, 6.0, 40.0])
    expected = stats.norm.isf(stats.t.sf(x / 0.8, 3.5))
    np.testing.assert_allclose(normal_scores(x, Tail(100, 3.5, 0.8)), expected, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(normal_scores(x, Tail(100, float("inf"), 1.0)), x)


def test_lent_spread_finds_the_prior_it_was_drawn_from() -> None:
    """Smyth 2004: s^2 = s0^2 F(d, d0). Simulation with d0 = 8, s0 = 2, d = 5, 60,000 members."""
    s2 = 4.0 * stats.f.rvs(5, 8, size=60_000, random_state=7)
    lent = lend_spread(np.sqrt(s2), np.full(60_000, 5.0))
    assert lent.sd == pytest.approx(2.0, rel=0.03)
    assert lent.freedom == pytest.approx(8.0, rel=0.15)


def test_lent_spread_is_near_the_slow_fit_by_likelihood() -> None:
    rng = np.random.default_rng(8)
    groups = {f"k{i}": rng.normal(0, np.sqrt(6 / rng.chisquare(6)), 9) for i in range(60)}
    slow = pool_spread(groups)
    quick = lend_spread([float(np.std(v, ddof=1)) for v in groups.values()], [8.0] * 60)
    assert quick.sd == pytest.approx(slow.family_sd, rel=0.1)
    assert quick.freedom == pytest.approx(slow.family_freedom, rel=0.6)
    lent = quick.lend(np.array([0.2, 3.0]), np.array([8.0, 8.0]))
    assert 0.2 < lent[0] < quick.sd < lent[1] < 3.0


def test_alike_spreads_lend_all_they_may_and_few_lend_nothing() -> None:
    assert lend_spread([1.0] * 12, [30.0] * 12).freedom == 200.0
    assert lend_spread([1.0, 2.0, 1.5], [5.0] * 3) == LentSpread(3, 0.0, 0.0)
    np.testing.assert_array_equal(LentSpread(3, 0.0, 0.0).lend(np.array([1.0]), np.array([5.0])), [1.0])
    # Smyth's bias: the mean of log s^2 is short by log(d/2) - digamma(d/2)
    assert lend_spread([1.0] * 12, [5.0] * 12).sd == pytest.approx(
        np.exp((np.log(2.5) - special.digamma(2.5) + special.digamma(100) - np.log(100)) / 2), rel=1e-9
    )
