"""Do intervals that say 95 % hold the truth 95 times in a hundred? At n = 5, 20, 100, exact and rounded to one step.

Rounded means: the step is as large as the spread, the grid lying anyhow to the mean. Every case allows for the
scatter of its own number of trials; intervals that are exact must not be too wide either.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pytest
from scipy import stats

from qclog.errors import StatisticsError
from qclog.stats.base.intervals import Estimate, estimate_normal
from qclog.stats.base.randomness import fit_trend
from qclog.stats.gauges import agreement, components, gauge_study
from qclog.stats.gauges.gauge_bias import estimate_bias
from qclog.stats.life import rates, weibull
from qclog.stats.life.survival import estimate_survival
from qclog.stats.rounded.coarse import bracket
from qclog.stats.rounded.interval_fit import fit_normal
from qclog.stats.spread import capability, percentiles, tolerance

SIZES = [5, 20, 100]
STEPS = [0.0, 1.0]


def holds(estimate: Estimate | None, truth: float) -> bool:
    assert estimate is not None
    return estimate.lower <= truth <= estimate.upper


def assert_covered(hits: list[bool], *, exact: bool = False, promised: float = 0.95) -> None:
    trials = len(hits)
    slack = 4 * np.sqrt(promised * (1 - promised) / trials)
    assert np.mean(hits) > promised - slack, np.mean(hits)
    if exact:
        assert np.mean(hits) < promised + slack, np.mean(hits)


def draw(rng: np.random.Generator, n: int, step: float) -> tuple[np.ndarray, float]:
    """Readings with spread 1 about a mean that lies anywhere on the grid."""
    mean = 20 + rng.uniform(0, 1)
    x = rng.normal(mean, 1, n)
    return (np.round(x / step) * step if step else x), mean


@pytest.mark.parametrize("n", SIZES)
def test_normal_intervals_of_exact_readings(n: int) -> None:
    rng = np.random.default_rng(n)
    mean, sd = [], []
    for _ in range(2000):
        x, truth = draw(rng, n, 0)
        found = estimate_normal(x)
        mean.append(holds(found.mean, truth))
        sd.append(holds(found.sd, 1))
    assert_covered(mean, exact=True)
    assert_covered(sd, exact=True)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", [0.5, 1.0, 2.0])
def test_likelihood_on_intervals(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    mean, sd = [], []
    for _ in range(250):
        x, truth = draw(rng, n, step)
        found = fit_normal(*bracket(x, step))
        mean.append(holds(found.mean, truth))
        sd.append(holds(found.sd, 1))
    assert_covered(mean)
    assert_covered(sd)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("place", ["middle", "off", "one side"])
def test_capability(n: int, step: float, place: str) -> None:
    rng = np.random.default_rng(n)
    found: dict[str, list[bool]] = {"cp": [], "cpk": [], "pp": [], "ppk": [], "share_outside": []}
    for _ in range(150 if step == 0 else 80):
        x, mean = draw(rng, n, step)
        low = {"middle": mean - 4, "off": mean - 3, "one side": None}[place]
        high = {"middle": mean + 4, "off": mean + 6, "one side": mean + 3}[place]
        try:
            got = capability.assess(x, lower=low, upper=high, step=step)
        except StatisticsError as error:
            # Five coarse readings may all agree: no index then, and the error says so.
            assert "no spread" in str(error)
            continue
        true = capability.work_out_indices(mean, 1, lower=low, upper=high)
        outside = stats.norm.sf(high - mean) + (stats.norm.cdf(low - mean) if low is not None else 0)
        for name, truth in (("cp", true.two_sided), ("cpk", true.worst), ("pp", true.two_sided), ("ppk", true.worst)):
            if truth is not None and getattr(got, name) is not None:
                found[name].append(holds(getattr(got, name), truth))
        found["share_outside"].append(holds(got.share_outside, outside))
    for hits in found.values():
        if hits:
            assert_covered(hits)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("side", ["both", "upper"])
def test_tolerance_intervals_of_exact_readings(n: int, side: Literal["both", "upper"]) -> None:
    rng = np.random.default_rng(n)
    x = rng.normal(size=(4000, n))
    factor = tolerance.estimate_tolerance(x[0], side=side).factor
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    below = stats.norm.cdf(mean - factor * sd) if side == "both" else 0
    covered = stats.norm.cdf(mean + factor * sd) - below
    assert_covered(list(covered >= 0.95), exact=True)


@pytest.mark.parametrize("n", SIZES)
def test_tolerance_intervals_of_rounded_readings(n: int) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(300):
        x, mean = draw(rng, n, 1.0)
        found = tolerance.estimate_tolerance(x, step=1.0)
        if found.sd == 0:
            assert "no spread to be seen, so the interval has no width" in found.warnings
            continue
        hits.append(stats.norm.cdf(found.upper - mean) - stats.norm.cdf(found.lower - mean) >= 0.95)
    if n > 5:
        assert_covered(hits)
    else:
        # Five readings on three or four grid lines hold little; the warning says so and this is how short it falls.
        assert np.mean(hits) > 0.85


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", STEPS)
def test_bias_of_a_gauge(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(1000):
        x, mean = draw(rng, n, step)
        hits.append(holds(estimate_bias(x, 20, step=step).bias, mean - 20))
    assert_covered(hits, exact=step == 0)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", STEPS)
def test_agreement_of_gauges(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    found: dict[str, list[bool]] = {"bias": [], "sd": [], "lower": [], "upper": []}
    truths = {"bias": 0.3, "sd": 1.0, "lower": 0.3 - 1.96, "upper": 0.3 + 1.96}
    for _ in range(1000 if step == 0 else 120):
        true = rng.uniform(10, 40, n)
        first = true + rng.normal(0.3, 1, n)
        if step == 0:
            got = agreement.compare_gauges(first, true)
        else:
            got = agreement.compare_brackets(
                (np.floor(first), np.floor(first) + 1), (np.floor(true), np.floor(true) + 1)
            )
        for name, truth in truths.items():
            found[name].append(holds(getattr(got, name), truth))
    for hits in found.values():
        assert_covered(hits, exact=step == 0)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", STEPS)
def test_percentile_of_any_shape(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(1000):
        x = rng.exponential(1.5, n)
        # A rounded median is known to its step.
        x = np.round(x / step) * step if step else x
        found = percentiles.estimate_percentile(x, 0.5)
        hits.append(found.lower - step / 2 <= 1.5 * np.log(2) <= found.upper + step / 2)
    assert_covered(hits)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("step", STEPS)
def test_trend(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(800):
        x = np.arange(n) * 0.1 + rng.normal(rng.uniform(0, 1), 1, n)
        hits.append(holds(fit_trend(np.round(x / step) * step if step else x).slope, 0.1))
    assert_covered(hits, exact=step == 0)


@pytest.mark.parametrize("groups", SIZES)
@pytest.mark.parametrize("step", STEPS)
def test_variance_components(groups: Any, step: float) -> None:
    # Rounding adds step^2/12 to the variance inside groups, which is what is then estimated.
    rng = np.random.default_rng(groups)
    between, within = [], []
    labels = [np.repeat(np.arange(groups), 3).tolist()]
    for _ in range(300):
        x = np.repeat(rng.normal(20, 2, groups), 3) + rng.normal(0, 1, 3 * groups)
        x = np.round(x / step) * step if step else x
        found = components.split_variance(x, labels)
        between.append(holds(found.levels[0].variance, 4))
        within.append(holds(found.levels[1].variance, 1 + step**2 / 12))
    assert_covered(between)
    assert_covered(within, exact=step == 0)


@pytest.mark.parametrize("parts", SIZES)
@pytest.mark.parametrize("interaction", ["keep", "pool"])
def test_gauge_study(parts: Any, interaction: Any) -> None:
    rng = np.random.default_rng(parts)
    mixed = 0.7 if interaction == "keep" else 0.0
    truth = {"repeatability": 1.0, "reproducibility": np.hypot(1.5, mixed), "parts": 4.0}
    truth["gauge"] = np.hypot(truth["repeatability"], truth["reproducibility"])
    found: dict[str, list[bool]] = {name: [] for name in truth}
    rows = np.array([(p, o) for p in range(parts) for o in range(6) for _ in range(2)])
    for _ in range(200):
        part, person, mix = rng.normal(0, 4, parts), rng.normal(0, 1.5, 6), rng.normal(0, mixed, (parts, 6))
        x = part[rows[:, 0]] + person[rows[:, 1]] + mix[rows[:, 0], rows[:, 1]] + rng.normal(size=len(rows))
        got = gauge_study.study_crossed(x, rows[:, 0].tolist(), rows[:, 1].tolist(), interaction=interaction)
        for name, value in truth.items():
            found[name].append(holds(getattr(got, name), value))
    for hits in found.values():
        assert_covered(hits)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("case", ["all failed", "some running", "rounded"])
def test_weibull(n: int, case: Any) -> None:
    rng = np.random.default_rng(n)
    slope, scale = [], []
    for _ in range(250 if n < 100 else 120):
        x = rng.weibull(1.7, n) * 100
        failed = np.ones(n, dtype=bool)
        if case == "some running":
            seen = rng.uniform(60, 200, n)
            failed, x = x <= seen, np.minimum(x, seen)
        if case == "rounded":
            x = np.maximum(np.round(x / 10) * 10, 5)
        if np.unique(x[failed]).size < 2:
            continue
        found = weibull.fit_weibull(x, failed, trials=800)
        slope.append(holds(found.slope, 1.7))
        scale.append(holds(found.scale, 100))
    assert_covered(slope)
    # With units that still run the pivots are only near (Thoman, Bain & Antle are for complete samples); of five units
    # they hold the scale in 88 of 100, and the result warns that they are rough.
    assert_covered(scale, promised=0.87 if (n, case) == (5, "some running") else 0.95)


@pytest.mark.parametrize("n", SIZES)
def test_share_surviving(n: int) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(600):
        life, seen = rng.exponential(100, n), rng.uniform(50, 300, n)
        found = estimate_survival(np.minimum(life, seen), life <= seen)
        before = [i for i, t in enumerate(found.times) if t <= 60]
        # Before anything has failed there is no interval, and all survive.
        if before:
            hits.append(found.lower[before[-1]] <= np.exp(-0.6) <= found.upper[before[-1]])
    # Greenwood's variance is for many failures; with five units it is only near.
    assert_covered(hits, promised=0.90 if n == 5 else 0.94)


@pytest.mark.parametrize("n", SIZES)
def test_rates_and_shares(n: int) -> None:
    rng = np.random.default_rng(n)
    rate = [holds(rates.estimate_rate(int(k), n), 0.2) for k in rng.poisson(0.2 * n, 1500)]
    share = [holds(rates.estimate_share(int(k), n), 0.2) for k in rng.binomial(n, 0.2, 1500)]
    assert_covered(rate)
    assert_covered(share)
    pair = rng.poisson([0.5 * n, 1.0 * n], (500, 2))
    ratio = [rates.compare_rates(k.tolist(), [n, n]).ratio for k in pair]
    assert_covered([holds(r, 2.0) for r in ratio])
