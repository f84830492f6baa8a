"""What the watch says of shops of many shapes: each way in which it once fell short.

The workshops are invented, their faults of known size (tests/benchmarks/shapes.py); the whole table is in
tests/benchmarks/FIGURES.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import polars as pl
import pytest

from qclog.domain.findings import Finding
from qclog.watch.findings import find
from qclog.watch.observations import COLUMNS, TICKS, Observations
from qclog.watch.replay import replay, up_to
from tests.benchmarks.shapes import SHAPES, START, Shape, Shop, build_shape

BY_NAME = {shape.name: shape for shape in SHAPES}


@cache
def shop_of(name: str, seed: int, *, faulty: bool = True) -> Shop:
    return build_shape(BY_NAME[name], seed, faulty=faulty)


@cache
def found_in(name: str, seed: int, *, faulty: bool = True) -> tuple[Finding, ...]:
    return find(shop_of(name, seed, faulty=faulty).observations)


def standing(findings: tuple[Finding, ...]) -> list[Finding]:
    return [f for f in findings if f.stands]


def series(
    values: np.ndarray, step: float = 0.1, code: str = "c0", serials: list[str] | None = None, **more: list[str | None]
) -> Observations:
    """One case type's readings of one characteristic, a unit a day."""
    n = len(values)
    jobs = [f"K{i:03}" for i in range(n)]
    rows = pl.DataFrame(
        {
            "job": jobs,
            "case_type": ["T0"] * n,
            "characteristic": [code] * n,
            "stage": ["final"] * n,
            "condition": [None] * n,
            "machined": [False] * n,
            "taken_at": [START + timedelta(days=i) for i in range(n)],
            "value": values,
            "technician": ["P0"] * n,
            "machining_batch": more.get("batch", [None] * n),
            "case_serial": serials or [f"C{i:03}" for i in range(n)],
            "rebuild": [1] * n,
            "era": [0] * n,
        },
        schema=COLUMNS,
    )
    return Observations(
        rows=rows,
        lots=pl.DataFrame({"job": jobs, "lot": more.get("lot", ["L1"] * n)}),
        gauges=rows.select("job", "characteristic", "stage", gauge=pl.Series(more.get("gauge", ["G1"] * n))),
        events=pl.DataFrame(schema={"gauge": pl.String, "since": pl.Datetime("us"), "until": pl.Datetime("us")}),
        characteristics=pl.DataFrame(
            [("T0", code, "thou", step, None)],
            schema={"case_type": pl.String, "characteristic": pl.String, "unit": pl.String, "step": pl.Float64,
                    "matters": pl.Float64},
            orient="row",
        ),
        ticks=pl.DataFrame(schema=TICKS),
    )  # fmt: skip


def test_what_is_replayed_is_there_from_then_on_and_not_one_reading_before() -> None:
    """Point 1: each finding's moment is the first at which a live log would have said it."""
    shop = shop_of("small shop, metric", 1)
    findings = found_in("small shop, metric", 1)
    raised = replay(shop.observations, findings, 1.0)
    assert set(raised) == {f.id for f in standing(findings)}
    moments = sorted(shop.observations.rows.group_by("job").agg(pl.col("taken_at").max())["taken_at"])
    for name, (moment, _) in raised.items():
        assert name in {f.id for f in standing(find(up_to(shop.observations, moment)))}
        before = [m for m in moments if m < moment][-1]
        assert name not in {f.id for f in standing(find(up_to(shop.observations, before)))}


def test_a_gauge_that_reads_half_of_everything_is_taken_out_once() -> None:
    """Point 2: two gauges, one 0.8 spreads high throughout; nothing goes to and fro, and nothing else is invented."""
    rng = np.random.default_rng(1)
    values = rng.normal(50, 1, 400)
    gauge = rng.choice(["A", "B"], 400)
    values[gauge == "B"] += 0.8
    findings = standing(find(series(values, gauge=gauge.tolist())))
    assert [(f.cause, f.level in ("A", "B")) for f in findings] == [("gauge", True)]
    assert findings[0].size_sd == pytest.approx(0.8, abs=0.25)


def test_an_odd_visit_of_a_case_that_came_more_than_once_is_found() -> None:
    """Point 3: of 24 shops' odd visits at least nine of ten, by their own job, and nobody is named on a few units."""
    planted = named = 0
    for seed in (11, 12, 13):
        shop, findings = shop_of("cases that return", seed), found_in("cases that return", seed)
        alone = {(f.jobs[0], code) for f in findings if f.cause == "odd casing" for code in f.characteristics}
        planted += len(shop.singles)
        named += sum(single in alone for single in shop.singles)
        groups = [f for f in findings if f.identifier in ("gauge", "technician", "lot", "machining_batch", "supplier")]
        assert min(len(f.jobs) for f in groups) >= 4
    assert named >= 0.85 * planted


def test_two_visits_of_one_case_are_two_findings_with_ids_that_stay() -> None:
    rng = np.random.default_rng(2)
    values = rng.normal(50, 1, 80)
    values[[20, 60]] += [9, -9]
    serials = [f"C{i:03}" for i in range(80)]
    serials[60] = serials[20]
    first = standing(find(series(values[:60], serials=serials[:60])))
    both = standing(find(series(values, serials=serials)))
    assert {f.jobs for f in first} == {("K020",)}
    assert {f.jobs for f in both} == {("K020",), ("K060",)}
    assert {f.id for f in first} < {f.id for f in both}


def test_faults_that_share_units_each_keep_their_own_characteristics() -> None:
    """Point 4: a gasket lot and a machining batch in the same weeks, with one characteristic in common."""
    for seed in (1, 2, 12):
        shop = shop_of("overlapping faults", seed)
        findings = {(f.identifier, f.level): f for f in standing(found_in("overlapping faults", seed))}
        for fault in shop.faults[:2]:
            finding = findings[fault.identifier, fault.level]
            assert set(finding.characteristics) >= fault.characteristics
            assert len(set(finding.characteristics) - fault.characteristics) <= 1


def test_a_stretch_of_wider_readings_is_found() -> None:
    """Point 5: gauges of 2.3 times the scatter for 120 days."""
    for seed in (1, 2, 3):
        shop = shop_of("slow changes", seed)
        wider = {f.level: f for f in standing(found_in("slow changes", seed)) if f.direction == "wider"}
        for fault in (f for f in shop.faults if f.cause == "wider"):
            mine = wider[fault.level]
            assert mine.id.endswith("wider")
            assert len(set(mine.jobs) & fault.jobs) >= 0.6 * len(fault.jobs)


def test_tool_wear_and_a_lasting_drift_are_found() -> None:
    """Point 6: a size that wanders and is put right again and again, and one that leaves for good."""
    for seed in (1, 2, 4):
        shop = shop_of("slow changes", seed)
        drifts = {(f.level, *f.characteristics) for f in standing(found_in("slow changes", seed)) if f.cause == "drift"}
        for fault in (f for f in shop.faults if f.cause == "drift"):
            assert (fault.level, *fault.characteristics) in drifts


def test_heavy_tails_are_no_findings() -> None:
    """Point 7: sound shops with Student's t of four degrees of freedom; one false finding a year at the most."""
    seeds = range(60, 64)
    false = sum(len(standing(found_in("heavy tails", seed, faulty=False))) for seed in seeds)
    assert false <= 2 * len(seeds)


def test_contaminated_readings_are_no_findings_either() -> None:
    """Another generator: normal readings, of which five in a hundred have three times the spread; 6,000 units."""
    rng = np.random.default_rng(5)
    values = 50 + rng.normal(size=3_000) * np.where(rng.random(3_000) < 0.05, 3.0, 1.0)
    assert len(standing(find(series(values)))) <= 2


def test_the_step_is_the_floor_of_every_spread() -> None:
    """Point 8: twelve of thirteen readings share one value; the other is four steps away, so four spreads at most."""
    values = np.full(13, 20.0)
    values[9] = 24.0
    for finding in find(series(values, step=1.0)):
        assert finding.size_sd <= 4.0
    values[9] = 21.0
    assert find(series(values, step=1.0)) == ()


def test_a_batch_of_five_in_a_rare_type_is_found() -> None:
    """Point 9: batches of four to six units at three spreads in types that come about once a month."""
    planted = found = 0
    for seed in (1, 2, 3):
        shop = shop_of("forty uneven types", seed)
        named = {(f.identifier, f.level) for f in standing(found_in("forty uneven types", seed))}
        rare = [f for f in shop.faults if f.cause == "odd machining"][2:4]
        planted += len(rare)
        found += sum((f.identifier, f.level) in named for f in rare)
    assert found >= planted - 1


def test_suppliers_and_what_is_inside_sub_assemblies_are_followed() -> None:
    """Point 10. How the parts of a sub-assembly come to be those of the unit: tests/services/watch/test_watching.py."""
    for seed in (1, 2):
        shop = shop_of("sub-assemblies", seed)
        named = {(f.identifier, f.level): f for f in standing(found_in("sub-assemblies", seed))}
        for fault in shop.faults[:2]:
            assert (fault.identifier, fault.level) in named
    assert "Supplier north suggests" in named["supplier", "north"].text


def test_each_characteristic_has_its_own_direction_and_size() -> None:
    """Point 11: one lot that moves one reading up and another down."""
    rng = np.random.default_rng(6)
    lot = ["L1"] * 40 + ["L2"] * 12 + ["L3"] * 48
    moved = np.array([x == "L2" for x in lot])
    up = series(rng.normal(50, 1, 100) + 3 * moved, lot=list(lot))
    down = series(rng.normal(20, 2, 100) - 8 * moved, code="c1", lot=list(lot))
    both = replace(
        up,
        rows=pl.concat([up.rows, down.rows]).sort("taken_at", "characteristic"),
        gauges=pl.concat([up.gauges, down.gauges]),
        characteristics=pl.concat([up.characteristics, down.characteristics]),
    )
    (finding,) = [f for f in find(both) if f.identifier == "lot"]
    effects = {e.characteristic: e for e in finding.effects}
    assert (effects["c0"].direction, effects["c1"].direction) == ("high", "low")
    assert effects["c0"].size == pytest.approx(3, abs=0.8)
    assert effects["c1"].size == pytest.approx(8, abs=1.5)
    assert {e.n for e in finding.effects} == {12}
    strongest = finding.effects[0]
    assert (finding.direction, finding.size_sd, finding.size, finding.unit) == strongest[1:5]
    assert "c0 high by" in finding.text
    assert "c1 low by" in finding.text


def test_wear_counts_the_cases_that_show_it_not_all_that_were_rebuilt() -> None:
    shop = shop_of("cases that return", 11)
    (fault,) = [f for f in shop.faults if f.cause == "worn casing"]
    finding = next(
        f for f in found_in("cases that return", 11) if (f.identifier, f.level) == ("case_type", fault.level)
    )
    assert set(finding.jobs) < fault.jobs
    assert len(finding.jobs) < 0.9 * len(fault.jobs)


def test_one_wild_job_turns_no_finding_round() -> None:
    """A lot 3 spreads high, and in it one reading typed ten times too low."""
    rng = np.random.default_rng(7)
    lot = ["L1"] * 40 + ["L2"] * 12 + ["L3"] * 48
    values = rng.normal(50, 1, 100) + 3 * np.array([x == "L2" for x in lot])
    sound = [f for f in find(series(values, lot=list(lot))) if f.identifier == "lot"]
    wild = values.copy()
    wild[45] = 5.0
    (finding,) = [f for f in find(series(wild, lot=list(lot))) if f.identifier == "lot"]
    assert [f.id for f in sound] == [finding.id]
    assert finding.direction == "high"
    assert finding.size_sd == pytest.approx(sound[0].size_sd, abs=0.8)


def _other_names(o: Observations) -> Observations:
    """Every level under another name, the jobs too."""
    rows = o.rows.with_columns(
        *(
            pl.when(pl.col(c).is_not_null()).then(pl.lit("z") + pl.col(c).str.reverse()).alias(c)
            for c in ("machining_batch", "technician", "case_serial", "job")
        )
    )
    job = (pl.lit("z") + pl.col("job").str.reverse()).alias("job")
    return replace(
        o,
        rows=rows,
        lots=o.lots.with_columns(job, lot=pl.lit("z") + pl.col("lot")),
        suppliers=o.suppliers.with_columns(job),
        gauges=o.gauges.with_columns(job, gauge=pl.lit("z") + pl.col("gauge")),
    )


def _shuffled(o: Observations) -> Observations:
    """What belongs to the rows in another order; the rows stay in order of time."""
    return replace(
        o,
        lots=o.lots.sample(fraction=1.0, shuffle=True, seed=1),
        gauges=o.gauges.sample(fraction=1.0, shuffle=True, seed=2),
        suppliers=o.suppliers.sample(fraction=1.0, shuffle=True, seed=3),
        characteristics=o.characteristics.sample(fraction=1.0, shuffle=True, seed=4),
    )


@pytest.mark.parametrize("change", [_other_names, _shuffled], ids=["names", "order"])
@pytest.mark.parametrize("name", ["small shop, metric", "cases that return"])
def test_names_and_order_of_entry_change_nothing(name: str, change: Callable[[Observations], Observations]) -> None:
    before = found_in(name, 11)
    after = find(change(shop_of(name, 11).observations))
    assert sorted(len(f.jobs) for f in before) == sorted(len(f.jobs) for f in after)
    assert [f.strength for f in after] == pytest.approx([f.strength for f in before], rel=1e-6)


def test_weak_ones_are_worth_a_look_and_the_budget_moves_the_line() -> None:
    shop = shop_of("even and normal", 3)
    strict, loose = find(shop.observations, 0.05), find(shop.observations, 1.6)
    assert {f.id for f in strict} == {f.id for f in loose}
    assert {f.id for f in standing(strict)} < {f.id for f in standing(loose)}
    assert max(f.strength for f in standing(strict)) <= 0.05 * 0.15 * 2.1


def test_what_has_been_followed_by_sound_units_is_over() -> None:
    rng = np.random.default_rng(8)
    batch: list[str | None] = [None] * 100
    for i in range(30, 37):
        batch[i] = "B1"
    values = rng.normal(50, 1, 100) + 4 * np.array([b is not None for b in batch])
    (over,) = [f for f in find(series(values, batch=list(batch))) if f.identifier == "machining_batch"]
    assert over.over
    assert over.last_seen == START + timedelta(days=36)
    (going,) = [f for f in find(series(values[:40], batch=list(batch[:40]))) if f.identifier == "machining_batch"]
    assert not going.over


def test_a_shape_is_what_it_says() -> None:
    """The generator itself: tails, steps and returning cases are there."""
    shop = shop_of("cases that return", 11, faulty=False)
    visits = shop.observations.rows.unique("job").group_by("case_serial").len()
    assert visits.filter(pl.col("len") > 1).height > 0.2 * visits.height
    assert isinstance(shop.shape, Shape)
