"""Published data through the whole tool: imported as a case type, charted, and equal to the published figures."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qclog.services.exchange.import_folder import import_folder
from qclog.services.series.case_chart import chart_case
from qclog.services.series.series import read_series
from qclog.stats.charts.limits import individuals
from qclog.store.log import Log
from tests.conftest import DATA, submission, write_folder

PUBLISHED = DATA / "published"


def sheet(code: str, unit: str, step: float) -> str:
    return (
        f'code = "{code}"\nname = "Published data"\nfamily = "published"\nversion = "1"\n'
        f'[[characteristic]]\ncode = "measured"\nname = "Measured"\nunit = "{unit}"\nstep = {step}\n'
    )


def bring_in(tmp_path: Path, unit: str, step: float, rows: list[tuple[str, str]]) -> Log:
    """One job per value, in order, with its machining batch ('' for none)."""
    folder = write_folder(
        tmp_path / "folder",
        sheet=sheet("PD-1", unit, step),
        people="person,role\nAsh,technician\n",
        jobs="job,case_type,machining_batch,opened\n"
        + "".join(f"P-{i:03},PD-1,{batch},2026-01-01\n" for i, (batch, _) in enumerate(rows)),
        readings="job,characteristic,stage,reading,technician,taken_at\n"
        + "".join(
            f"P-{i:03},measured,final,{value},Ash,2026-01-01T{8 + i // 60:02}:{i % 60:02}\n"
            for i, (_, value) in enumerate(rows)
        ),
    )
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    return log


@pytest.fixture(scope="module")
def gears() -> list[tuple[str, str]]:
    with (PUBLISHED / "nist_gear_diameter.csv").open() as file:
        return [(f"B{int(row['batch']):02}", row["diameter"]) for row in csv.DictReader(file)]


def test_nist_gear_diameters(tmp_path: Path, gears: list[tuple[str, str]]) -> None:
    """NIST/SEMATECH e-Handbook GEAR data (1.3.5.7): 10 batches of 10 gear diameters in inches.

    Grand mean 0.99764, overall s 0.0062789049 and the batch means as recomputed from the published data; the
    limits against a second derivation here, from the mean moving range over 2/sqrt(pi).
    """
    log = bring_in(tmp_path, "in", 0.001, gears)
    chart = chart_case(log, "PD-1", "measured")
    values = np.array([float(v) for _, v in gears])
    assert len(chart.rows) == 100
    assert chart.group.machined
    assert chart.summary is not None
    assert chart.drawn is not None
    assert chart.summary.mean == pytest.approx(0.99764, abs=1e-12)
    assert chart.summary.sd == pytest.approx(0.0062789049, abs=5e-11)
    sigma = np.abs(np.diff(values)).mean() / (2 / np.sqrt(np.pi))
    assert chart.drawn.lower == pytest.approx(values.mean() - 3 * sigma, abs=1e-12)
    assert chart.drawn.upper == pytest.approx(values.mean() + 3 * sigma, abs=1e-12)
    batches = read_series(log, "PD-1", "measured").rows.group_by("machining_batch").agg(pl.col("value").mean())
    means = batches.sort("machining_batch")["value"]
    published = [0.998, 0.9991, 0.9954, 0.9982, 0.9919, 0.9988, 1.0015, 1.0004, 0.9983, 0.9948]
    assert means.to_list() == pytest.approx(published, abs=1e-12)


def test_nist_flow_rate_individuals(tmp_path: Path) -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2 (numbers from memory, they reproduce): mean 50.81, limits 55.8041 and
    45.8159 as printed with d2 = 1.128, tolerance half the last digit; 55.80241 and 45.81759 with the exact constant.
    """
    with (PUBLISHED / "nist_flowrate_individuals.csv").open() as file:
        rows = [("", row["flowrate"]) for row in csv.DictReader(file)]
    chart = chart_case(bring_in(tmp_path, "1", 0.1, rows), "PD-1", "measured")
    assert chart.drawn is not None
    assert chart.drawn.centre == pytest.approx(50.81, abs=1e-9)
    assert chart.drawn.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.drawn.upper == pytest.approx(55.80241, abs=5e-6)
    assert chart.drawn.lower == pytest.approx(45.81759, abs=5e-6)
    assert chart.flagged.is_empty()
    printed = individuals(chart.rows["value"], d2=1.128)
    assert (printed.upper, printed.lower) == pytest.approx((55.8041, 45.8159), abs=5e-5)


def test_nine_units_are_too_few_to_set_limits(tmp_path: Path, gears: list[tuple[str, str]]) -> None:
    chart = chart_case(bring_in(tmp_path, "in", 0.001, gears[:9]), "PD-1", "measured")
    assert chart.drawn is None
    assert any("too few to set limits" in w for w in chart.warnings)
    assert len(chart.rows) == 9


def test_machined_and_unmachined_are_not_pooled(tmp_path: Path, gears: list[tuple[str, str]]) -> None:
    rows = [(b if i % 3 else "", v) for i, (b, v) in enumerate(gears)]
    chart = chart_case(bring_in(tmp_path, "in", 0.001, rows), "PD-1", "measured")
    assert [(g.machined, g.n) for g in chart.groups] == [(True, 66), (False, 34)]
    assert len(chart.rows) == 66
