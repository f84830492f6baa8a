"""What the manager looks at: units side by side, two periods, case types, gauges and shims at a glance."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from qclog import resources
from qclog.domain.jobs import Gauge
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimSize
from qclog.errors import InputError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping import people, sheets, stock
from qclog.services.overview import at_a_glance
from qclog.services.series import case_chart, limit_history, side_by_side
from qclog.services.tracing.shop import read_shop
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import SHEET, submission
from tests.workshop_with_a_batch import START, add_units


@pytest.fixture
def shop(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    return log


def chart(log: Log, code: str = "trial_pack") -> case_chart.CaseChart:
    return case_chart.chart_case(log, "MR-1", code)


def test_the_odd_batch_is_seen_beside_the_others(shop: Log) -> None:
    found = side_by_side.compare(shop, chart(shop), "machining batch")
    means = {level.name: (level.n, level.mean) for level in found.levels}
    assert means["M09"][0] == 8
    assert means["M09"][1] > max(mean for name, (_, mean) in means.items() if name != "M09") + 3
    assert "More different than luck explains" in found.text
    assert "n = 60" in found.text


@pytest.mark.parametrize(
    ("by", "levels"),
    [("technician", 1), ("gauge", 1), ("lot", 6), ("rebuild", 1), ("month", 3), ("machining batch", 5)],
)
def test_by_everything_it_can_be(shop: Log, by: str, levels: int) -> None:
    found = side_by_side.compare(shop, chart(shop), by)
    assert len(found.levels) == levels
    assert sum(level.n for level in found.levels) == 60
    if levels == 1:
        assert "Too few to compare" in found.text
    with pytest.raises(InputError, match="side by side by"):
        side_by_side.compare(shop, chart(shop), "colour")


def test_two_periods_against_each_other(shop: Log) -> None:
    day = START.date()
    quiet = day, day + timedelta(days=39)
    high = day + timedelta(days=40), day + timedelta(days=47)
    found = side_by_side.compare_periods(chart(shop), quiet, high)
    assert (found.before, found.after) == (40, 8)
    assert found.two is not None
    assert found.two.lower > 3
    assert found.text.startswith("The mean moved by +")
    same = side_by_side.compare_periods(
        chart(shop), (day, day + timedelta(days=19)), (day + timedelta(days=20), quiet[1])
    )
    assert same.text.endswith("which luck explains as well.")
    few = side_by_side.compare_periods(chart(shop), quiet, (day + timedelta(days=400), day + timedelta(days=401)))
    assert few.text == "Too few to compare: n = 40 and 0."
    for first, second, said in ((quiet, quiet, "overlap"), ((high[1], high[0]), quiet, "before it begins")):
        with pytest.raises(InputError, match=said):
            side_by_side.compare_periods(chart(shop), first, second)


def test_how_the_limits_came_to_be(shop: Log) -> None:
    changed = SHEET.replace('version = "1"', 'version = "2"').replace("upper = 17 }", "upper = 16 }")
    sheets.add(shop, read_sheet(changed), submission(by="Heron"))
    rows = limit_history.history_of(shop, chart(shop, "torque"))
    assert [(r.version, r.limits, r.by) for r in rows] == [
        ("1", "8 to 17, wanted 12.5 lbf·in", "Ash"),
        ("2", "8 to 16, wanted 12.5 lbf·in", "Heron"),
    ]
    assert rows[0].since is None
    assert rows[1].since is not None


def test_case_types_in_one_row_each(tmp_path: Path) -> None:
    """The sample workshop: what is counted here was counted from its files by other means (one job, one row)."""
    log = Log(tmp_path / "demo.duckdb")
    folder = resources.folder("sample_data")
    import_folder(log, folder, submission(), timezone="Europe/London")
    watched = finding_life.watch(log)
    rows = at_a_glance.look_at_types(log, read_shop(log), watched.standing)
    jobs = pl.read_csv(folder / "jobs.csv", infer_schema_length=0)
    counted = dict(jobs.group_by("case_type").len().rows())
    assert {r.case_type: r.jobs for r in rows} == counted
    out = dict(jobs.filter(pl.col("dispatched").is_not_null()).group_by("case_type").len().rows())
    assert {r.case_type: r.out for r in rows} == out
    assert [r.last_year for r in rows] == sorted((r.last_year for r in rows), reverse=True)
    busiest = rows[0]
    assert "parts lot (G-31)" in busiest.moves
    assert all(0 <= r.outside <= r.out for r in rows)


def test_gauges_say_what_they_ask_for(shop: Log) -> None:
    people.add_gauge(shop, Gauge("DT-1", "dial", "thou", 0.5, (), date(2026, 1, 1)), submission())
    people.check_gauge(
        shop, "TQ-1", "check", submission(), at=START + timedelta(days=50), reference=10.0, reading=10.05
    )
    people.check_gauge(shop, "MC-1", "dropped", submission(), at=START + timedelta(days=55))
    rows = {g.gauge: g for g in at_a_glance.look_at_gauges(read_shop(shop), date(2026, 6, 1))}
    assert rows["DT-1"].state == "calibration overdue"
    assert rows["TQ-1"].state == "checked good 2026-02-24"
    assert rows["TQ-1"].off == pytest.approx(0.05)
    assert (rows["TQ-1"].since, rows["TQ-1"].jobs[0]) == (10, "K-050")
    assert rows["MC-1"].state == "in doubt from the beginning"
    assert rows["MC-1"].since == 60
    people.check_gauge(shop, "TQ-1", "withdrawn", submission(), at=now())
    rows = {g.gauge: g for g in at_a_glance.look_at_gauges(read_shop(shop), date(2026, 6, 1))}
    assert rows["TQ-1"].state == "withdrawn"


def test_shims_to_buy_where_there_is_a_minimum(shop: Log) -> None:
    stock.add_leaves(shop, ShimSize("S", 5.0, 5.0, "thou"), 3, submission(), minimum=10)
    stock.add_leaves(shop, ShimSize("S", 10.0, 10.0, "thou"), 30, submission())
    rows = {r.nominal: r for r in at_a_glance.look_at_shims(shop)}
    assert (rows[5.0].there, rows[5.0].minimum, rows[5.0].likely, rows[5.0].buy) == (3, 10, None, 7)
    assert rows[10.0].buy == 0
