"""A case type's chart: coarse readings, limits that changed, and populations that are never pooled."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import optimize, stats

from qclog.errors import InputError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import jobs
from qclog.services.series.case_chart import CaseChart, as_json, chart_case
from qclog.stats.charts.bracket_limits import individuals_from_brackets
from qclog.store.log import Log
from tests.conftest import submission, write_folder

SHEET = """\
code = "B-1"
name = "A box"
family = "box"
version = "1"

[[characteristic]]
code = "float"
name = "End float"
unit = "thou"
step = 1.0
stages = ["trial", "final"]
gauge_kind = "feeler"
parts = ["bearing"]
limits.any = { upper = UPPER }
"""


def log_of(tmp_path: Path, said: list[str], *, stage: str = "final", sheets: int = 1) -> Log:
    """A log with one job for each of `said`; the last third has re-used bearings, every second a machined case."""
    n = len(said)
    folder = write_folder(
        tmp_path / "folder",
        sheet=SHEET.replace("UPPER", "9"),
        people="person,role\nAsh,technician\n",
        gauges="gauge,kind,unit,step,leaves\nFG-1,feeler,thou,1,1 2 3 4 5 6 7 8 9 10\n",
        jobs="job,case_type,machining_batch,opened\n"
        + "".join(f"J-{i},B-1,{'M1' if i % 2 else ''},2026-03-01\n" for i in range(n)),
        parts="job,part,condition\n"
        + "".join(f"J-{i},bearing,{'reused' if i >= 2 * n / 3 else 'new'}\n" for i in range(n)),
        readings="job,characteristic,stage,reading,gauge,technician,taken_at\n"
        + "".join(
            f"J-{i},float,{stage},{text},FG-1,Ash,2026-03-{1 + i // 24:02}T{i % 24:02}:00\n"
            for i, text in enumerate(said)
        ),
    )
    if sheets == 2:
        later = SHEET.replace("UPPER", "7").replace('version = "1"', 'version = "2"\nin_force = 2026-03-02')
        (folder / "case_types" / "later.toml").write_text(later, encoding="utf-8")
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    return log


def new_unmachined(log: Log) -> CaseChart:
    return chart_case(log, "B-1", "float", stage="final", condition="new", machined=False)


def test_coarse_brackets_get_their_limits_from_the_intervals(tmp_path: Path) -> None:
    chart = new_unmachined(log_of(tmp_path, ["4/5", "4/5", "5/6"] * 24))
    low, high = chart.rows["low"].to_numpy(), chart.rows["high"].to_numpy()
    wanted = individuals_from_brackets(low, high)
    assert chart.limits is not None
    assert chart.by_intervals
    assert (chart.limits.centre, chart.limits.upper) == (wanted.centre, wanted.upper)
    assert (chart.mean, chart.spread) == (wanted.centre, wanted.sigma)
    assert set(chart.rows["value"]) == {4.5, 5.5}
    assert any("only their middles are drawn" in w for w in chart.warnings)
    told = as_json(chart)["control"]
    assert (told["method"], told["mean_moving_range"]) == ("likelihood on intervals", None)


def test_coarse_numbers_stand_for_half_a_step_either_way(tmp_path: Path) -> None:
    chart = new_unmachined(log_of(tmp_path, ["4", "4", "5"] * 24))
    values = chart.rows["value"].to_numpy()
    assert chart.limits is not None
    assert chart.limits.centre == individuals_from_brackets(values - 0.5, values + 0.5).centre


def test_a_coarse_bracket_stands_out_only_when_it_lies_wholly_beyond(tmp_path: Path) -> None:
    chart = new_unmachined(log_of(tmp_path, [*["4/5", "4/5", "5/6"] * 16, "8/9", "4/5", *["4/5"] * 30]))
    assert chart.by_intervals
    assert chart.flagged["job"].to_list() == ["J-48"]
    assert chart.drawn is not None
    assert chart.drawn.upper < 8


def test_readings_finer_than_their_spread_keep_moving_ranges(tmp_path: Path) -> None:
    chart = new_unmachined(
        log_of(tmp_path, [f"{(i * 7) % 9}/{(i * 7) % 9 + 1}" if (i * 7) % 9 else "1/2" for i in range(72)])
    )
    assert chart.limits is not None
    assert not chart.by_intervals
    assert chart.limits.method == "mean moving range"


def test_limits_that_changed_are_said_and_each_reading_is_judged_by_its_day(tmp_path: Path) -> None:
    chart = new_unmachined(log_of(tmp_path, ["8"] * 96, sheets=2))
    assert any("limits changed: at most 9 until 2026-03-02" in w for w in chart.warnings)
    verdicts = dict(zip(chart.rows["job"], chart.rows["verdict"], strict=True))
    assert (verdicts["J-0"], verdicts["J-26"]) == ("inside", "high")


def test_populations_are_told_apart_and_never_pooled(tmp_path: Path) -> None:
    log = log_of(tmp_path, ["5"] * 60)
    chart = chart_case(log, "B-1", "float")
    assert {(g.condition, g.machined): g.n for g in chart.groups} == {
        ("new", False): 20, ("new", True): 20, ("reused", False): 10, ("reused", True): 10,
    }  # fmt: skip
    assert len(chart.rows) == 20
    with pytest.raises(InputError, match="no readings of End float in that group"):
        chart_case(log, "B-1", "float", stage="trial")


def test_readings_below_the_smallest_leaf_are_no_numbers(sample: Log) -> None:
    """29 of 54 rows of flatness were charted as half the smallest leaf, and mean, spread and limits came from them.

    A second derivation of centre and spread: the likelihood of intervals, maximised by SciPy's simplex search.
    """
    chart = chart_case(sample, "LR-2", "aft_face_flatness", stage="as_found", machined=True)
    below = chart.rows.filter(pl.col("open") == "below")
    assert (len(chart.rows), len(below)) == (54, 29)
    assert below["low"].is_null().all()
    assert (below["value"] == below["high"]).all()
    assert chart.summary is None
    assert chart.by_intervals
    assert chart.limits is not None
    low = chart.rows["low"].fill_null(-np.inf).to_numpy()
    high = chart.rows["high"].fill_null(np.inf).to_numpy()
    half = np.where(low == high, 0.5, 0.0)

    def loss(p: np.ndarray) -> float:
        sd = np.exp(p[1])
        mass = stats.norm.cdf(high + half, p[0], sd) - stats.norm.cdf(low - half, p[0], sd)
        return -float(np.log(np.maximum(mass, 1e-300)).sum())

    best = optimize.minimize(loss, np.array([1.0, 0.0]), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    assert chart.limits.centre == pytest.approx(best.x[0], abs=0.02)
    assert chart.limits.sigma == pytest.approx(np.exp(best.x[1]), rel=0.05)
    assert "29 of 54 are only known to be below a leaf" in " ".join(chart.warnings)
    told = as_json(chart)["readings"]
    assert sum(r["value"] is None and r["low"] is None for r in told) == 29


def test_the_largest_of_four_lines_is_judged_and_charted(sample: Log) -> None:
    """The mean of the four was, where the sheet asks for the largest leaf that enters anywhere."""
    chart = chart_case(sample, "LR-2", "aft_face_flatness", stage="as_found", machined=True)
    row = next(r for r in chart.rows.iter_rows(named=True) if not r["open"])
    story = jobs.tell(sample, row["job"])
    read = [t.row for t in story.readings if t.row.characteristic == "aft_face_flatness" and t.row.counts]
    assert row["low"] == max(r.low for r in read if r.low is not None)
    assert row["high"] == max(r.high for r in read if r.high is not None)
