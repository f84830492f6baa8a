"""The sample workshop's folder: the same bytes each time, sound sheets, and an import without a problem."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from qclog import resources
from qclog.demo import Workshop, build_workshop, sheet_texts, write_folder
from qclog.demo.workshop import COLUMNS
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.exchange.tables import TABLES
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log, Submission


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return build_workshop()


def _files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_sample_data_is_what_the_model_writes(workshop: Workshop, tmp_path: Path) -> None:
    written = write_folder(workshop, tmp_path)
    kept = _files(resources.folder("sample_data"))
    assert "invented" in kept.pop("README.md").decode()
    assert _files(tmp_path) == kept
    assert len(written) == len(kept)


def test_the_command_of_the_readme_writes_it(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "qclog.demo", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    assert "295 jobs" in done.stdout
    kept = _files(resources.folder("sample_data"))
    del kept["README.md"]
    assert _files(tmp_path / "out") == kept


def test_columns_are_those_of_the_exchange_folder() -> None:
    known = {t.name: t.columns for t in TABLES}
    assert COLUMNS
    for name, columns in COLUMNS.items():
        assert tuple(columns.split()) == known[name]


def test_imports_without_a_problem_and_a_second_time_adds_nothing(tmp_path: Path) -> None:
    log = Log(tmp_path / "demo.duckdb")
    folder = resources.folder("sample_data")
    first = import_folder(log, folder, Submission("demo", "demo", "sample"))
    assert {table: count for table, count in first.added if count} == {
        "case_types": 6, "people": 8, "gauges": 18, "gauge_checks": 689, "jobs": 295, "parts": 1213,
        "readings": len((folder / "readings.csv").read_text(encoding="utf-8").splitlines()) - 1, "comebacks": 11,
        "shim_stock": 113, "shim_movements": 105,
    }  # fmt: skip
    again = import_folder(log, folder, Submission("demo", "demo", "sample"))
    assert again.nothing_new
    report = verify(log)
    assert report.sound, [check for check in report.checks if check.rows]
    export_folder(log, tmp_path / "out")
    back = Log(tmp_path / "back.duckdb")
    import_folder(back, tmp_path / "out", Submission("demo", "demo", "sample"))
    assert verify(back).readings == report.readings


def test_units_and_visits_of_each_case_type(workshop: Workshop) -> None:
    # trade.md 8.1: 285 units. A visit more for each comeback rebuilt, and one job is a sub-assembly without a case.
    jobs = workshop.rows("jobs")
    serials = {(row[1], row[2]) for row in jobs if row[2]}
    assert Counter(case_type for case_type, _ in serials) == {
        "LR-2": 110, "LR-3": 45, "TB-6": 40, "TB-D": 30, "VX-1": 60,
    }  # fmt: skip
    assert len(jobs) == 285 + 2 + 7 + 1
    assert sum(1 for row in jobs if not row[8]) == 6
    assert min(row[7] for row in jobs) >= "2025-01-06"
    assert max(row[9] for row in workshop.rows("readings")) < "2026-07-07"


def test_sheets_use_the_whole_vocabulary() -> None:
    sheets = [read_sheet(text, name) for name, text in sheet_texts().items()]
    every = [c for sheet in sheets for c in sheet.characteristics]
    assert {c.shape for c in every} == {"target", "band", "upper", "lower", "record", "pass", "category"}
    assert {name for c in every for name, _ in c.limits} == {"new", "reused", "as_found", "any"}
    assert any(c.forced_at == ("final",) for c in every)
    assert any(c.variants for c in every)
    assert all(c.source for c in every if c.limits)
    assert all(sheet.caution and sheet.view and sheet.in_force for sheet in sheets)
    lr2 = [sheet for sheet in sheets if sheet.code == "LR-2"]
    before, after = (dict(s.characteristic("coupling_runout").limits)["any"].upper for s in lr2)
    assert (before, after) == (2.5, 2.0)


def test_another_seed_keeps_the_counts_of_every_story(workshop: Workshop) -> None:
    other = build_workshop(7)
    assert other.rows("readings") != workshop.rows("readings")
    for name in ("deep_bore", "thick_gasket", "dropped_gauge", "low_pinch", "pinch_held", "comebacks_low"):
        assert len(getattr(other.planted, name)) == len(getattr(workshop.planted, name)), name


def test_only_invented_names(workshop: Workshop) -> None:
    people = {row[0] for row in workshop.rows("people")}
    assert people == {"Ash", "Birch", "Cedar", "Elm", "Flint", "Heron", "Wren", "Rook"}
    assert {row[8] for row in workshop.rows("readings")} <= people
    assert {row[6] for row in workshop.rows("gauge_checks")} <= people
    suppliers = {row[3] for row in workshop.rows("parts")} - {""}
    assert suppliers == {"Quillmoor Bearings", "Tarnwick Bearings", "Overlode Joints"}


def test_a_workshop_cannot_be_changed(workshop: Workshop) -> None:
    with pytest.raises(FrozenInstanceError):
        workshop.seed = 2  # type: ignore[misc] # the fault
