"""Exact tests of counts against published figures and against scipy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qclog.stats.compare.exact_tests import SecondCount, binomial_p, log_chance_of_all


def test_the_tea_tasting() -> None:
    # Fisher, The Design of Experiments (1935), chapter II: 70 ways, 34 of them no likelier than three right, one wrong
    tea = SecondCount((1, 3), (4, 4))
    assert tea.p_value() == pytest.approx(34 / 70, rel=1e-12)
    assert tea.chances() * 70 == pytest.approx([1, 16, 36, 16, 1])


def test_a_count_against_a_share() -> None:
    # by hand: two heads or fewer of ten, or eight or more: 2 (1 + 10 + 45) / 1024
    assert binomial_p(2, 10, 0.5) == pytest.approx(112 / 1024, rel=1e-12)
    rng = np.random.default_rng(5)
    for _ in range(200):
        n = int(rng.integers(1, 400))
        count, share = int(rng.integers(0, n + 1)), float(rng.uniform(0.01, 0.99))
        assert binomial_p(count, n, share) == pytest.approx(
            stats.binomtest(count, n, share).pvalue, rel=1e-9, abs=1e-300
        )


def test_two_shares_as_scipy_compares_them() -> None:
    rng = np.random.default_rng(6)
    for _ in range(120):
        sizes = rng.integers(1, 60, size=2)
        counts = [int(rng.integers(0, s + 1)) for s in sizes]
        if sum(counts) in (0, sizes.sum()):
            continue
        table = np.array([counts, sizes - counts])
        here = SecondCount((counts[0], counts[1]), (int(sizes[0]), int(sizes[1])))
        assert here.p_value() == pytest.approx(stats.fisher_exact(table)[1], rel=1e-8)
        odds = stats.contingency.odds_ratio(table[:, ::-1])
        ends = odds.confidence_interval(0.95)
        found = here.odds_ratio(0.95)
        assert (found.value, found.lower, found.upper) == pytest.approx((odds.statistic, ends.low, ends.high), rel=1e-4)
        for end, chance in ((found.lower, here.every >= counts[1]), (found.upper, here.every <= counts[1])):
            if 0 < end < np.inf:
                assert here.chances(float(np.log(end)))[chance].sum() == pytest.approx(0.025, rel=1e-9)


def test_all_events_among_one_group() -> None:
    for total, one, units in ((3, 5, 20), (9, 5, 20), (1, 1, 2)):
        chance = stats.hypergeom.pmf(min(total, one), units, one, total)
        assert np.exp(log_chance_of_all(total, one, units)) == pytest.approx(chance, rel=1e-10)
