"""The watch: residuals, scores, the search, replay and naming."""

from __future__ import annotations

from math import comb, log

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qclog.watch.findings import find
from qclog.watch.heaping import find_heaping
from qclog.watch.observations import TICKS
from qclog.watch.residuals import standardise, winsorised
from qclog.watch.scoring import best_together, chi2_log_tail, log_choose, stretches
from tests.benchmarks.workshops import build


def test_the_tail_of_chi_square_agrees_with_scipy() -> None:
    x, k = np.meshgrid([0.5, 3.0, 20.0, 200.0, 600.0], [1, 2, 5, 12])
    np.testing.assert_allclose(chi2_log_tail(x, k), stats.chi2.logsf(x, k), rtol=1e-9)
    # with two degrees of freedom the tail is exp(-x/2), also where scipy's underflows
    assert chi2_log_tail(np.array([[4000.0]]), np.array([[2]]))[0, 0] == pytest.approx(-2000.0, rel=1e-12)


def test_ways_to_choose_agree_with_counting() -> None:
    for m in range(1, 12):
        for k in range(1, m + 1):
            assert log_choose(m, k) == pytest.approx(log(comb(m, k)), abs=1e-10)


def test_the_best_together_pays_for_its_choice() -> None:
    """Two departures of five among ten: chi-square 50 on 2, times the 45 ways to choose two of ten."""
    z = np.zeros((1, 10)) + 0.01
    z[0, [3, 7]] = 5.0
    log_p, k = best_together(z, np.ones_like(z, dtype=bool))
    assert k[0] == 2
    assert log_p[0] == pytest.approx(stats.chi2.logsf(50.0, 2) + log(45), abs=1e-9)


def test_a_score_among_noise_is_a_p_value_or_larger() -> None:
    """Simulation, 4,000 rows of ten standard normals: the share below each level never exceeds it."""
    z = np.random.default_rng(3).normal(size=(4000, 10))
    log_p, _ = best_together(z, np.ones_like(z, dtype=bool))
    for level in (0.2, 0.05, 0.01):
        assert (log_p < log(level)).mean() <= level * 1.6


@pytest.mark.parametrize("n", [3, 10, 57, 400, 5000])
def test_stretches_grow_in_step_with_n_and_end_where_they_should(n: int) -> None:
    spans = stretches(n, 3)
    assert len(spans) <= 12 * n + 10
    assert (spans[:, 1] - spans[:, 0]).min() >= 3
    assert spans.min() == 0
    assert spans.max() == n
    assert [0, n] in spans.tolist()


def test_winsorised_spread_is_right_for_the_normal_and_hardly_moved_by_a_few_wild_values() -> None:
    """Simulation, 200,000 standard normals; then a tenth of them moved ten spreads away."""
    z = np.random.default_rng(1).normal(size=200_000)
    for outer in (0.02, 0.10):
        middle, wide = winsorised(z, outer)
        assert middle == pytest.approx(0.0, abs=0.01)
        assert wide == pytest.approx(1.0, abs=0.01)
    z[:10_000] += 10
    assert winsorised(z)[1] < 1.35 < z.std()


def test_residuals_of_sound_workshops_are_standard_normal() -> None:
    z = standardise(build(7, faulty=False, scale=0.5).observations).z
    assert z.mean() == pytest.approx(0.0, abs=0.05)
    assert z.std() == pytest.approx(1.02, abs=0.05)
    assert np.mean(np.abs(z) > 3.3) < 0.004


def test_planted_faults_are_named_with_their_own_identifier() -> None:
    """One invented workshop: every group fault by its own identifier, found after its first unit, not before."""
    shop = build(2)
    findings = {(f.identifier, f.level): f for f in find(shop.observations)}
    for fault in shop.faults:
        finding = findings[(fault.identifier, fault.level)]
        assert finding.cause == fault.cause
        assert fault.characteristics & set(finding.characteristics)
        assert finding.strength < 0.1
        order = {job: i for i, job in enumerate(finding.jobs)}
        if fault.cause == "odd machining":
            assert order[finding.found_at_job] <= 7
    assert len(findings) <= len(shop.faults) + len(shop.singles) + 3


def test_a_sound_workshop_is_left_in_peace() -> None:
    assert [f for f in find(build(101, faulty=False).observations) if f.cause != "odd casing"] == []


def test_the_same_readings_give_the_same_findings_whatever_their_unit() -> None:
    shop = build(3, scale=0.3)
    o = shop.observations
    metric = o.rows.with_columns(value=pl.col("value") * 0.0254)
    steps = o.characteristics.with_columns(step=pl.col("step") * 0.0254)
    from dataclasses import replace

    one, two = find(o), find(replace(o, rows=metric, characteristics=steps))
    assert [f.id for f in one] == [f.id for f in two]


def test_too_few_readings_say_nothing() -> None:
    from dataclasses import replace

    o = build(4, scale=0.1).observations
    assert find(replace(o, rows=o.rows.head(4))) == ()
    assert find(replace(o, rows=o.rows.head(0))) == ()


def ticks(name: str, even: list[bool], characteristic: str = "stand_off") -> pl.DataFrame:
    n = len(even)
    start = pl.datetime_range(
        pl.datetime(2026, 1, 1), pl.datetime(2026, 1, 1) + pl.duration(days=n - 1), "1d", eager=True
    )
    return pl.DataFrame(
        {
            "technician": [name] * n,
            "case_type": ["LR-2"] * n,
            "characteristic": [characteristic] * n,
            "job": [f"{name}-{i}" for i in range(n)],
            "taken_at": start,
            "even": even,
        },
        schema=TICKS,
    )


def test_thirty_four_even_of_forty_is_digit_preference() -> None:
    """34 of 40 even: two-sided binomial p about 8e-6 (trade.md section 4.4, derived there)."""
    assert stats.binomtest(34, 40, 0.5).pvalue == pytest.approx(8.4e-6, rel=0.05)
    rng = np.random.default_rng(5)
    others = pl.concat([ticks(n, (rng.random(200) < 0.5).tolist()) for n in ("Ash", "Birch")])
    (found,) = find_heaping(pl.concat([others, ticks("Cedar", [True] * 34 + [False] * 6)]))
    assert (found.technician, found.even, found.share) == ("Cedar", True, 34 / 40)


def test_a_characteristic_that_is_even_for_everyone_blames_nobody() -> None:
    rng = np.random.default_rng(6)
    assert (
        find_heaping(pl.concat([ticks(n, (rng.random(120) < 0.66).tolist()) for n in ("Ash", "Birch", "Cedar")])) == []
    )


def test_a_slow_drift_and_a_gauge_that_scatters_are_named() -> None:
    """A drift of three units of value over two years in one characteristic; a feeler with two more units of scatter."""
    from dataclasses import replace

    o = build(7, faulty=False).observations
    taken = o.rows["taken_at"].to_physical().to_numpy()
    value = o.rows["value"].to_numpy().copy()
    drifting = ((o.rows["case_type"] == "T1") & (o.rows["characteristic"] == "c3")).to_numpy()
    value[drifting] += 3.0 * ((taken - taken[0]) / (taken[-1] - taken[0]))[drifting]
    keys = ["job", "characteristic", "stage"]
    gauge = o.rows.join(o.gauges, on=keys, how="left", maintain_order="left")["gauge"].to_numpy()
    loose = gauge == "FG-2"
    value[loose] += np.random.default_rng(0).normal(0, 2.0, loose.sum())
    changed = replace(o, rows=o.rows.with_columns(value=pl.Series(value)))
    found = {(f.cause, f.level, f.direction) for f in find(changed)}
    assert ("drift", "T1", "high") in found
    assert ("gauge", "FG-2", "wider") in found
