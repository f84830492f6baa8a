"""Groups, variance components and gauge studies against NIST and textbooks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.summary import summarise
from qclog.stats.compare import groups
from qclog.stats.gauges import components, gauge_bias, gauge_study
from tests.reference.conftest import Floats, Published


def split_groups(labels: Any, values: Any) -> list[Any]:
    return [values[labels == label] for label in dict.fromkeys(labels.tolist())]


@pytest.mark.parametrize(
    ("name", "between", "within", "f", "explained", "sd", "digits"),
    # NIST StRD analysis of variance, certified. SmLs07 and 08 have twelve constant leading digits: doubles can
    # hold no more than about four digits of their answer.
    [
        ("SiRstv", 5.11462616e-2, 2.1663656e-1, 1.18046237440255, 0.190999039051129, 0.104076068334656, 9),
        ("SmLs01", 1.68, 1.8, 21, 0.482758620689655, 0.1, 12),
        ("SmLs02", 16.08, 18, 201, 0.471830985915493, 0.1, 12),
        ("SmLs04", 1.68, 1.8, 21, 0.482758620689655, 0.1, 9),
        ("SmLs07", 1.68, 1.8, 21, 0.482758620689655, 0.1, 4),
        ("SmLs08", 16.08, 18, 201, 0.471830985915493, 0.1, 4),
    ],
)
def test_strd_analysis_of_variance(
    published: Published, name: str, between: float, within: float, f: Any, explained: Any, sd: float, digits: Any
) -> None:
    columns = published(f"strd_{name}")
    found = groups.compare_means(split_groups(columns["group"], columns["value"]))
    near = 10.0**-digits
    assert found.squares_between == pytest.approx(between, rel=3 * near)
    assert found.squares_within == pytest.approx(within, rel=3 * near)
    assert found.statistic == pytest.approx(f, rel=near)
    assert found.explained == pytest.approx(explained, rel=near)
    assert found.residual_sd == pytest.approx(sd, rel=near)


@pytest.mark.parametrize(("offset", "digits"), [(1.0, 13), (1e6, 9), (1e12, 4)])
def test_strd_18009_rows(offset: float, digits: Any) -> None:
    # SmLs03, 06 and 09 rebuilt from their rule: 9 groups of 2001, first value offset + .4 etc., then +/- 0.1.
    treat = [0.4, 0.3, 0.2, 0.5, 0.4, 0.6, 0.5, 0.4, 0.5]
    columns = [offset + np.array([m, *([m - 0.1, m + 0.1] * 1000)]) for m in treat]
    spread = np.array(treat)
    found = groups.compare_means(columns)
    assert found.squares_within == pytest.approx(180, rel=3 * 10.0**-digits)
    expected = 2001 * ((spread - spread.mean()) ** 2).sum()
    assert found.squares_between == pytest.approx(expected, rel=3 * 10.0**-digits)


def test_gear_spreads(gear: list[Floats]) -> None:
    # NIST e-Handbook 1.3.5.7: Bartlett 20.785873 (printed 20.78580, single precision). 1.3.5.10: Levene about
    # the median 1.705917693 (printed 1.705910).
    bartlett = groups.compare_spreads(gear, method="Bartlett")
    assert bartlett.statistic == pytest.approx(20.785873428, abs=5e-10)
    assert bartlett.statistic == pytest.approx(20.78580, rel=1e-5)
    assert bartlett.freedom == (9,)
    assert bartlett.p_value == pytest.approx(0.0136358633, abs=5e-11)
    assert bartlett.critical == pytest.approx(16.918978, abs=5e-7)
    levene = groups.compare_spreads(gear)
    assert levene.statistic == pytest.approx(1.705917693, abs=5e-10)
    # The list of check values gives 0.0990829726; F(9, 90) beyond 1.705917693 is 0.0990829756.
    assert levene.p_value == pytest.approx(0.0990829756, abs=5e-11)
    assert levene.p_value == pytest.approx(0.0990829726, abs=5e-9)
    assert levene.critical == pytest.approx(1.985595, abs=5e-7)
    assert groups.compare_spreads(gear, method="mean").statistic == pytest.approx(2.1594598565, abs=5e-11)
    assert groups.compare_spreads(gear, method="trimmed").statistic == pytest.approx(2.1537129486, abs=5e-11)


def test_gear_means(gear: list[Floats]) -> None:
    found = groups.compare_means(gear)
    assert found.statistic == pytest.approx(2.2969124134, abs=5e-11)
    assert found.p_value == pytest.approx(0.0226608193, abs=5e-11)
    assert found.mean_square_between == pytest.approx(8.1004444e-5, rel=1e-8)
    assert found.mean_square_within == pytest.approx(3.5266667e-5, rel=1e-7)
    assert found.residual_sd == pytest.approx(0.0059385745, abs=5e-11)
    assert summarise(np.concatenate(gear)).sd == pytest.approx(0.0062789049, abs=5e-11)
    labels = np.repeat(np.arange(10), 10)
    between = components.split_variance(np.concatenate(gear), [labels.tolist()]).levels[0]
    assert between.variance.value == pytest.approx(4.5737778e-6, rel=1e-8)


def test_one_way_of_the_handbook(published: Published) -> None:
    # NIST e-Handbook 7.4.3.4.
    columns = published("nist_7_4_3_oneway")
    found = groups.compare_means(split_groups(columns["level"], columns["y"]))
    assert found.squares_between == pytest.approx(27.897333, abs=5e-7)
    assert found.squares_within == pytest.approx(17.452, abs=5e-10)
    assert (found.freedom_between, found.freedom_within) == (2, 12)
    assert found.statistic == pytest.approx(9.591107, abs=5e-7)
    assert found.p_value == pytest.approx(0.003248, abs=5e-7)


def test_batches_of_the_handbook(published: Published) -> None:
    # NIST e-Handbook 7.4.4; exact values. The page prints 147.74, 36.935, 17.99, 1.799, 20.5, components 11.71
    # and 1.80 (rounding).
    columns = published("nist_7_4_4_batches")
    found = components.split_variance(columns["y"], [columns["batch"].tolist()], ["batch"])
    batch, inside = found.levels
    assert (batch.squares, batch.mean_square) == pytest.approx((147.733333, 36.933333), abs=5e-7)
    assert (inside.squares, inside.mean_square) == pytest.approx((18.0, 1.8), abs=1e-9)
    assert batch.mean_square / inside.mean_square == pytest.approx(20.518519, abs=5e-7)
    assert (batch.variance.value, inside.variance.value) == pytest.approx((11.711111, 1.8), abs=5e-7)
    assert found.total == pytest.approx(13.511, abs=5e-4)
    assert (batch.share, inside.share) == pytest.approx((0.87, 0.13), abs=0.005)


def test_resistivity_probe(published: Published) -> None:
    # NIST e-Handbook 2.6.1, probe 2362: pooled day-to-day and run-to-run spreads.
    c = published("nist_resistivity_probe2362")
    means = {1: [95.0928, 99.3060, 96.0357, 101.0602, 94.2148], 2: [95.1243, 99.3098, 96.0765, 101.0790, 94.2438]}
    days = {1: [0.0359, 0.0472, 0.0273, 0.0232, 0.0274], 2: [0.0453, 0.0215, 0.0276, 0.0537, 0.0370]}
    all_sds, averages = [], []
    for run in (1, 2):
        rows = split_groups(c["wafer"][c["run"] == run], c["average"][c["run"] == run])
        sds = [r.std(ddof=1) for r in rows]
        averages.append([r.mean() for r in rows])
        all_sds += sds
        assert averages[-1] == pytest.approx(means[run], abs=6e-5)
        assert sds == pytest.approx(days[run], abs=6e-5)
        pooled, freedom = components.pool_sd(sds, [5] * 5)
        assert (pooled, freedom) == pytest.approx(({1: 0.03334, 2: 0.03879}[run], 25), abs=6e-6)
        repeats = c["stddev"][c["run"] == run]
        pooled, _ = components.pool_sd(repeats, [5] * repeats.size)
        assert pooled == pytest.approx({1: 0.067509, 2: 0.077857}[run], abs=6e-7)
    assert components.pool_sd(all_sds, [5] * 10) == pytest.approx((0.036168, 50), abs=6e-7)
    assert components.pool_sd(c["stddev"], [5] * 60)[0] == pytest.approx(0.072867, abs=6e-7)
    between = np.abs(np.subtract(averages[0], averages[1])) / np.sqrt(2)
    assert between == pytest.approx([0.0222, 0.0027, 0.0288, 0.0133, 0.0205], abs=1e-4)
    # Printed 0.0197, from rounded means.
    assert components.pool_sd(between, [1] * 5)[0] == pytest.approx(0.019645, abs=6e-7)


def test_nested_components_against_expectations() -> None:
    rng = np.random.default_rng(1)
    found = []
    for _ in range(60):
        values, outer, inner = [], [], []
        for a in range(6):
            shift = rng.normal(0, 3)
            for b in range(int(rng.integers(2, 5))):
                low = shift + rng.normal(0, 2)
                for _ in range(int(rng.integers(1, 4))):
                    values.append(low + rng.normal())
                    outer.append(a)
                    inner.append(b)
        found.append([lv.raw for lv in components.split_variance(values, [outer, inner]).levels])
    mean, error = np.mean(found, axis=0), np.std(found, axis=0) / np.sqrt(60)
    # Unbiased also where group sizes differ: 9, 4 and 1.
    assert (np.abs(mean - [9, 4, 1]) < 4 * error).all()


def test_component_edges() -> None:
    negative = components.split_variance([1, 5, 2, 4, 1.5, 4.5], [["a", "a", "b", "b", "c", "c"]])
    assert negative.levels[0].variance.value == 0
    assert negative.levels[0].raw < 0
    assert "level 1: negative variance set to 0" in negative.warnings
    with pytest.raises(TooFewError):
        components.split_variance([1, 2, 3], [["a", "a", "a"]])
    with pytest.raises(TooFewError):
        components.split_variance([1, 2, 3], [["a", "b", "c"]])
    with pytest.raises(StatisticsError):
        components.split_variance([1, 2, 3], [["a", "b"]])
    with pytest.raises(StatisticsError):
        components.pool_sd([1, 2], [0, 0])


def test_kruskal_wallis_and_pairs_against_scipy() -> None:
    rng = np.random.default_rng(2)
    three = [np.round(rng.normal(m, 1, n)) for m, n in ((0, 9), (0.5, 12), (2, 7))]
    ours = groups.compare_ranks(three)
    assert (ours.statistic, ours.p_value) == pytest.approx(tuple(stats.kruskal(*three)), rel=1e-12)
    reference = stats.tukey_hsd(*three)
    ends = reference.confidence_interval(0.95)
    for d in groups.compare_pairs(three):
        assert d.p_value == pytest.approx(reference.pvalue[d.first, d.second], abs=1e-8)
        assert d.difference.lower == pytest.approx(ends.low[d.second, d.first], abs=1e-6)
        assert d.difference.upper == pytest.approx(ends.high[d.second, d.first], abs=1e-6)


def test_two_groups_are_student_and_welch() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.normal(0, 1, 8), rng.normal(1, 4, 13)
    for equal in (True, False):
        ours = groups.compare_pairs([a, b], equal_spread=equal)[0]
        reference = stats.ttest_ind(b, a, equal_var=equal)
        ends = reference.confidence_interval(0.95)
        assert ours.p_value == pytest.approx(reference.pvalue, rel=1e-9)
        assert (ours.difference.lower, ours.difference.upper) == pytest.approx((ends.low, ends.high), rel=1e-9)


def test_all_pairs_hold_together() -> None:
    rng = np.random.default_rng(4)
    for equal, sds in ((True, [1, 1, 1, 1]), (False, [1, 2, 4, 1])):
        held = 0
        for _ in range(400):
            pairs = groups.compare_pairs([rng.normal(0, s, 6) for s in sds], equal_spread=equal)
            held += all(p.difference.lower <= 0 <= p.difference.upper for p in pairs)
        assert held / 400 > 0.95 - 4 * np.sqrt(0.05 * 0.95 / 400)


def test_adjusted_p_values() -> None:
    # Benjamini & Hochberg 1995, table of 15 p-values: four discoveries at 5 %; Bonferroni-Holm three.
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
        0.7590,
        1.0,
    ]
    assert (groups.adjust_p_values(p, false_discoveries=True) <= 0.05).sum() == 4
    assert (groups.adjust_p_values(p) <= 0.05).sum() == 3
    assert groups.adjust_p_values(p, false_discoveries=True) == pytest.approx(stats.false_discovery_control(p))
    with pytest.raises(StatisticsError):
        groups.adjust_p_values([0.5, 1.5])


def test_group_edges() -> None:
    flat = groups.compare_means([[1, 1], [2, 2]])
    assert (flat.p_value, flat.warnings) == (0, ("no spread inside any group",))
    assert groups.compare_means([[1, 1], [1, 1]]).p_value == 1
    assert groups.compare_ranks([[1, 1], [1]]).p_value == 1
    assert np.isnan(groups.compare_spreads([[1, 1], [2, 2]]).statistic)
    assert np.isnan(groups.compare_spreads([[1, 1], [2, 3]], method="Bartlett").p_value)
    for call in (
        lambda: groups.compare_means([[1, 2]]),
        lambda: groups.compare_means([[1], [2]]),
        lambda: groups.compare_spreads([[1, 2], [3]]),
        lambda: groups.compare_spreads([[1, 2], [3, 4]], method="F"),  # type: ignore[arg-type] # wrong on purpose
        lambda: groups.compare_pairs([[1, 1], [2, 2]]),
    ):
        with pytest.raises(StatisticsError):
            call()


def crossed(published: Published) -> tuple[Any, Any, Any]:
    c = published("montgomery_grr_20x3x2")
    return c["value"], c["part"].tolist(), c["operator"].tolist()


def test_gauge_study_of_the_textbook(published: Published) -> None:
    # Montgomery, Design and Analysis of Experiments, 20 parts x 3 operators x 2.
    found = gauge_study.study_crossed(*crossed(published))
    squares = [s.squares for s in found.sources]
    assert squares == pytest.approx([1185.425, 2.616667, 27.05, 59.5], abs=5e-7)
    ratios = [s.statistic for s in found.sources[:3]]
    assert ratios == pytest.approx([87.646950, 1.837954, 0.717824], abs=5e-7)
    assert found.sources[2].p_value == pytest.approx(0.8614, abs=5e-5)
    assert not found.interaction_kept
    variances = found.variances
    assert (variances["parts"], variances["persons"], variances["repeats"]) == pytest.approx(
        (10.251271, 0.0106293, 0.883163), abs=5e-7
    )
    assert found.gauge.value**2 == pytest.approx(0.893793, abs=5e-7)
    full = gauge_study.study_crossed(*crossed(published), interaction="keep")
    assert [full.variances[k] for k in ("parts", "persons", "interaction", "repeats")] == pytest.approx(
        [10.279825, 0.0149123, -0.139912, 0.991667], abs=5e-7
    )
    assert "interaction: negative variance set to 0" in full.warnings
    assert full.gauge.value**2 == pytest.approx(0.0149123 + 0.991667, abs=5e-7)


def test_gauge_study_finds_what_it_was_given() -> None:
    rng = np.random.default_rng(5)
    parts, persons = rng.normal(0, 5, 60), rng.normal(0, 2, 40)
    mix = rng.normal(0, 1.5, (60, 40))
    rows = [(p, o) for p in range(60) for o in range(40) for _ in range(2)]
    values = [parts[p] + persons[o] + mix[p, o] + rng.normal() for p, o in rows]
    found = gauge_study.study_crossed(values, [p for p, _ in rows], [o for _, o in rows])
    assert found.interaction_kept
    assert found.repeatability.value == pytest.approx(1, rel=0.05)
    assert found.reproducibility.value == pytest.approx(np.hypot(persons.std(ddof=1), 1.5), rel=0.1)
    assert found.parts.value == pytest.approx(parts.std(ddof=1), rel=0.05)


def test_nested_gauge_study() -> None:
    rng = np.random.default_rng(6)
    values, persons, parts = [], [], []
    for o in range(50):
        shift = rng.normal(0, 2)
        for p in range(10):
            size = rng.normal(0, 5)
            for _ in range(3):
                values.append(shift + size + rng.normal())
                persons.append(o)
                parts.append(p)
    found = gauge_study.study_nested(values, persons, parts)
    assert found.repeatability.value == pytest.approx(1, rel=0.06)
    assert found.parts.value == pytest.approx(5, rel=0.1)
    assert found.reproducibility.lower < 2 < found.reproducibility.upper
    assert found.gauge.lower < np.sqrt(5) < found.gauge.upper


def test_gauge_study_edges() -> None:
    with pytest.raises(TooFewError):
        gauge_study.study_crossed([1, 2, 3, 4], ["a", "a", "b", "b"], ["x", "y", "x", "y"])
    with pytest.raises(StatisticsError, match="equally often"):
        gauge_study.study_crossed([1, 2, 3, 4, 5, 6], ["a", "a", "a", "a", "b", "b"], ["x", "x", "y", "y", "x", "x"])
    perfect = gauge_study.study_crossed([1, 1, 1, 1, 5, 5, 5, 5], list("aaaabbbb"), list("xxyyxxyy"))
    assert perfect.gauge.value == 0


def test_bias_and_linearity() -> None:
    found = gauge_bias.estimate_bias([10.1, 10.3, 10.2, 10.2], 10)
    t = stats.ttest_1samp([10.1, 10.3, 10.2, 10.2], 10)
    assert (found.statistic, found.p_value) == pytest.approx((t.statistic, t.pvalue), rel=1e-9)
    steady = gauge_bias.estimate_bias([20, 20, 20], 19.6, step=1)
    assert (steady.bias.lower, steady.bias.upper) == pytest.approx((-0.1, 0.9))
    assert steady.warnings
    rng = np.random.default_rng(7)
    x = np.repeat([2.0, 4, 6, 8, 10], 12)
    line = gauge_bias.estimate_linearity(x * 1.05 - 0.2 + rng.normal(0, 0.1, 60), x)
    assert line.line.slope.lower < 0.05 < line.line.slope.upper
    assert line.line.intercept.value == pytest.approx(-0.2, abs=0.12)
    assert line.lack_of_fit_p is not None
    assert line.lack_of_fit_p > 0.01
    bent = gauge_bias.estimate_linearity(x + 0.05 * (x - 6) ** 2 + rng.normal(0, 0.1, 60), x)
    assert bent.warnings == ("the bias bends along the range",)
    with pytest.raises(StatisticsError):
        gauge_bias.estimate_linearity([1, 2, 3], [5, 5, 5])
