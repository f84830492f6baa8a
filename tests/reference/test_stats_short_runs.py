"""Self-starting scores, pooled deviations, and a spread borrowed from the family."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.charts import family, short_runs
from qclog.stats.charts.limits import prediction

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_scores_of_the_flow_rates() -> None:
    # Quesenberry, J. Quality Technology 23(3) 1991, both parameters unknown: formula worked independently on
    # the NIST flow rates (no published worked numbers).
    found = short_runs.score(FLOW).scores
    expected = [0.53868, 1.13352, -0.89893, 1.01146, 1.47857, 1.09883, 1.44500, 0.61888]
    assert np.isnan(found[:2]).all()
    assert found[2:] == pytest.approx(expected, abs=5e-6)
    known = short_runs.score(FLOW, sigma=2).scores
    expected = [-0.70711, 0.53072, 0.98150, -0.80498, 0.89461, 1.40416, 1.12250, 1.55563, 0.67989]
    assert known[1:] == pytest.approx(expected, abs=5e-6)


def test_cusum_of_the_flow_rates() -> None:
    # Hawkins, The Statistician 36 (1987): k 0.5.
    found = short_runs.score_cusum(FLOW, allowance=0.5, limit=5)
    upper = [0, 0, 0.03868, 0.67220, 0, 0.51146, 1.49003, 2.08886, 3.03387, 3.15274]
    lower = [0, 0, 0, 0, 0.39893, 0, 0, 0, 0, 0]
    assert found.upper == pytest.approx(upper, abs=6e-6)
    assert found.lower == pytest.approx(lower, abs=6e-6)
    assert found.signals == ()


def test_scores_by_the_formula_one_at_a_time() -> None:
    x = np.random.default_rng(1).normal(5, 3, 30)
    both, mean_known = short_runs.score(x).scores, short_runs.score(x, mean=5).scores
    for r in range(3, 31):
        before = x[: r - 1]
        t = np.sqrt((r - 1) / r) * (x[r - 1] - before.mean()) / before.std(ddof=1)
        assert both[r - 1] == pytest.approx(stats.norm.ppf(stats.t.cdf(t, r - 2)), rel=1e-9)
        t = (x[r - 1] - 5) / np.sqrt(((before - 5) ** 2).mean())
        assert mean_known[r - 1] == pytest.approx(stats.norm.ppf(stats.t.cdf(t, r - 1)), rel=1e-9)
    assert short_runs.score(x, mean=5, sigma=3).scores == pytest.approx((x - 5) / 3)


def test_scores_are_independent_unit_normals() -> None:
    rng = np.random.default_rng(2)
    scores = np.array([short_runs.score(rng.normal(100, 7, 12)).scores[2:] for _ in range(3000)])
    assert stats.kstest(scores.ravel(), "norm").pvalue > 0.001
    together = np.corrcoef(scores.T) - np.eye(10)
    assert np.abs(together).max() < 4.5 / np.sqrt(3000)


def test_far_readings_keep_a_finite_score() -> None:
    found = short_runs.score([1, 2, 1, 2, 1, 1e30]).scores
    assert np.isfinite(found[2:]).all()
    with pytest.raises(StatisticsError, match="absurdly large"):  # no gauge reads so much in any unit
        short_runs.score([1, 2, 1, 2, 1, 1e60])
    # A hundred degrees of freedom: below what a double can hold as a probability.
    t, f = np.array([50.0, 1e4]), np.array([100.0, 100.0])
    far = short_runs.normal_score_of_t(t, f)
    assert far[0] == pytest.approx(stats.norm.isf(stats.t.sf(50, 100)), rel=1e-9)
    logs = 50 * np.log(100 / (100 + 1e8)) - np.log(100) - 0.0
    assert far[1] == pytest.approx(np.sqrt(-2 * logs), rel=0.02)


def test_equal_start_says_nothing_yet() -> None:
    found = short_runs.score([5, 5, 5, 6, 5])
    assert np.isnan(found.scores[:4]).all()
    assert np.isfinite(found.scores[4])
    assert found.warnings == ("no score while all readings before were equal",)
    assert short_runs.score([5]).warnings[0].startswith("too few to say")
    with pytest.raises(StatisticsError):
        short_runs.score([1, 2], sigma=0)


def test_deviations_pool_kinds() -> None:
    rng = np.random.default_rng(3)
    kinds = ["a", "b", "c", "a"] * 50
    centre = {"a": 10.0, "b": 200.0, "c": -5.0}
    x = np.array([centre[k] for k in kinds]) + rng.normal(0, 2, 200)
    found = family.pool_deviations(x, kinds, centre)
    assert found.limits.sigma == pytest.approx(2, rel=0.15)
    assert found.deviations == pytest.approx(x - np.array([centre[k] for k in kinds]))
    own = family.pool_deviations([*x, 7.0], [*kinds, "rare"])
    assert own.n == 200
    assert own.limits.sigma == pytest.approx(2, rel=0.15)
    assert "rare left out: one reading and no target" in own.warnings


def test_deviations_from_own_mean_keep_their_spread() -> None:
    # Three of each of 2000 kinds: without the widening the spread would read 0.816.
    rng = np.random.default_rng(4)
    kinds = np.repeat(np.arange(2000), 3).astype(str)
    found = family.pool_deviations(rng.normal(size=6000), kinds.tolist())
    assert np.sqrt((found.deviations**2).mean()) == pytest.approx(1, rel=0.03)


def test_unlike_spreads_are_said() -> None:
    rng = np.random.default_rng(5)
    x = np.concatenate([rng.normal(0, 1, 40), rng.normal(0, 6, 40)])
    found = family.pool_deviations(x, ["a"] * 40 + ["b"] * 40, {"a": 0, "b": 0})
    assert found.equal_spread_p is not None
    assert found.equal_spread_p < 0.001
    assert any("differ in spread" in w for w in found.warnings)
    with pytest.raises(StatisticsError):
        family.pool_deviations([1, 2], ["a"])
    with pytest.raises(TooFewError):
        family.pool_deviations([1, 2], ["a", "b"])


def test_family_spread_lies_between_own_and_all() -> None:
    rng = np.random.default_rng(6)
    groups = {f"k{i}": rng.normal(0, s, 25) for i, s in enumerate(np.geomspace(0.5, 2, 10))}
    found = family.pool_spread(groups)
    for kind in found.kinds.values():
        assert kind.sd is not None
        assert kind.pooled_sd is not None
        assert found.family_sd is not None
        low, high = sorted((kind.sd, found.family_sd))
        assert low <= kind.pooled_sd <= high
    alike = family.pool_spread({f"k{i}": rng.normal(0, 1.5, 4) for i in range(40)})
    assert alike.family_sd == pytest.approx(1.5, rel=0.15)
    assert alike.family_freedom > 8


@pytest.mark.parametrize("freedom", [4.0, 1e9])
def test_rare_kind_has_limits_that_hold(freedom: float) -> None:
    # Spreads drawn as the method supposes; the kinds have 1, 3, 3, 5, 12 and 30 units.
    rng = np.random.default_rng(7)
    inside: dict[int, list[bool]] = {1: [], 3: []}
    for _ in range(400):
        groups, sds = {}, {}
        for j, n in enumerate((1, 3, 3, 5, 12, 30)):
            sds[str(j)] = np.sqrt(freedom / rng.chisquare(freedom))
            groups[str(j)] = rng.normal(0, sds[str(j)], n)
        found = family.pool_spread(groups, false_alarm=0.05)
        for name, kind in found.kinds.items():
            if kind.n in inside:
                inside[kind.n].append(kind.lower < rng.normal(0, sds[name]) < kind.upper)
    for n, hits in inside.items():
        # An estimated prior: near the stated 95 %, not exact.
        assert np.mean(hits) > 0.90, n


def test_family_edges() -> None:
    with pytest.raises(TooFewError):
        family.pool_spread({"a": [1.0], "b": [2.0]})
    flat = family.pool_spread({"a": [1.0, 1.0], "b": [2.0, 2.0, 2.0]})
    assert flat.family_sd == 0
    assert any("no width" in w for w in flat.warnings)
    alone = family.pool_spread({"a": [1.0, 2.0, 4.0]}, false_alarm=0.05)
    own = prediction([1.0, 2.0, 4.0], false_alarm=0.05)
    assert alone.kinds["a"].pooled_sd == pytest.approx(own.sd)
    assert (alone.kinds["a"].lower, alone.kinds["a"].upper) == pytest.approx((own.lower, own.upper))
    lent = family.pool_spread({"a": [1.0, 2.0, 4.0], "b": [9.0]}, false_alarm=0.05).kinds["b"]
    assert (lent.pooled_sd, lent.freedom) == pytest.approx((own.sd, 2))
