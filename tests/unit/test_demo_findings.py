"""The sample workshop's planted stories are found and named, and what must not be blamed is not."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from qclog import resources
from qclog.cli import main
from qclog.demo.workshop import build_workshop
from qclog.domain.findings import Finding
from qclog.services.exchange.import_folder import import_folder
from qclog.services.watch.watching import find_all
from qclog.store.log import Log
from tests.conftest import submission

FIELDS = {
    "id", "cause", "identifier", "level", "case_types", "characteristics", "jobs", "direction", "size_sd", "size",
    "unit", "strength", "first_job", "last_job", "found_at_job", "found_at", "found_at_is",
    "last_seen", "over", "stands", "effects", "confounded_with", "text",
}  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Log:
    log = Log(tmp_path_factory.mktemp("demo") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission(), timezone="Europe/London")
    return log


@pytest.fixture(scope="module")
def found(demo: Log) -> dict[tuple[str, str], Finding]:
    return {(f.cause, f.level): f for f in find_all(demo)}


def test_the_batch_bored_too_deep(found: dict[tuple[str, str], Finding]) -> None:
    finding = found[("odd machining", "M07")]
    assert set(finding.jobs) == set(build_workshop().planted.deep_bore)
    assert "recess" in finding.characteristics
    assert finding.direction == "high"
    assert finding.jobs.index(finding.found_at_job) <= 5


def test_the_worn_case_the_thick_gasket_and_the_dropped_gauge(found: dict[tuple[str, str], Finding]) -> None:
    worn = found[("worn casing", build_workshop().planted.worn_serial)]
    assert (worn.identifier, len(worn.jobs)) == ("case_serial", 3)
    gasket = found[("parts lot", "G-31")]
    assert "turning_torque" in gasket.characteristics
    assert not {"recess", "stand_off", "closure"} & set(gasket.characteristics)
    gauge = found[("gauge", "DT-2")]
    assert set(gauge.jobs) <= set(build_workshop().planted.dropped_gauge)


def test_the_reader_of_even_leaves(found: dict[tuple[str, str], Finding]) -> None:
    finding = found[("technician", "Cedar")]
    assert "even" in finding.text
    assert finding.direction == "wider"


def test_nobody_is_blamed_for_what_another_thing_explains(found: dict[tuple[str, str], Finding]) -> None:
    named = {level for cause, level in found if cause in ("technician", "gauge", "parts lot", "odd machining")}
    assert named == {"M07", "G-31", "DT-2", "Cedar"}
    assert len(found) <= 12


def test_the_json_other_programs_rely_on(demo: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["findings", "--json", "--log", str(demo.path)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [t["strength"] for t in told] == sorted(t["strength"] for t in told)
    for finding in told:
        assert set(finding) == FIELDS
        assert finding["direction"] in ("high", "low", "wider")
        assert {finding["first_job"], finding["last_job"], finding["found_at_job"]} <= set(finding["jobs"])
    assert main(["findings", "--replay", "--log", str(demo.path)]) == 0
    out = capsys.readouterr().out
    assert "check next" in out
    assert "not proof" in out


def test_a_log_without_readings_has_no_findings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = Log(tmp_path / "empty.duckdb")
    log.create()
    assert main(["findings", "--json", "--log", str(log.path)]) == 0
    assert json.loads(capsys.readouterr().out) == []
    assert main(["findings", "--log", str(log.path)]) == 0
    assert "Nothing stands out" in capsys.readouterr().out
