"""Conditions that a characteristic states are recorded by themselves, and what contradicts them is refused.

That turning torque is read while it turns, not the pull that starts it: trade.md, section 2.5.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.domain.jobs import Job, Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.errors import InputError, QclogError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture, jobs
from qclog.services.keeping import people, sheets
from qclog.services.papers import build_record
from qclog.store.log import Log
from tests.conftest import submission, write_folder

SHEET = """\
code = "AX-1"
name = "Axle"
family = "axles"
version = "1"

[[characteristic]]
code = "torque"
name = "Pinion torque, no seal, rotating"
unit = "N·m"
step = 0.1
stages = ["final"]
limits.any = { lower = 1, upper = 3 }
conditions = ["rotating|break_away", "oiled|dry", "no_seal|seal"]
states = ["rotating", "no_seal"]
"""
PLACE = Place("A1", "torque", "final")


@pytest.fixture
def log(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    log.create()
    sheets.add(log, read_sheet(SHEET), submission("sheet"))
    people.add_person(log, Person("Ash", "technician"), submission("person"))
    jobs.open_job(log, Job("A1", "AX-1", now()), submission("job"))
    return log


def take(log: Log, *conditions: str) -> str:
    capture.take(log, PLACE, "2.1", capture.Circumstances("Ash", conditions=conditions), submission("reading"))
    return str(jobs.tell(log, "A1").readings[-1].row.conditions)


def test_what_it_states_need_not_be_said_and_is_kept(log: Log) -> None:
    assert take(log, "oiled") == "oiled rotating no_seal"
    assert take(log, "rotating", "dry") == "rotating dry no_seal"


def test_what_is_still_open_is_asked(log: Log) -> None:
    with pytest.raises(InputError, match="oiled or dry"):
        take(log)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (("break_away", "dry"), "is read rotating, not break away"),
        (("rotating", "oiled", "seal"), "is read no seal, not seal"),
        (("oiled", "dry"), "both oiled and dry can't be"),
    ],
)
def test_what_contradicts_is_refused(log: Log, said: tuple[str, ...], told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        take(log, *said)
    assert caught.value.field == "conditions"
    assert jobs.tell(log, "A1").readings == ()


def test_the_record_says_how_it_was_read(log: Log) -> None:
    take(log, "oiled")
    record = build_record.build_record(log, "A1")
    assert "Pinion torque, no seal, rotating; oiled, rotating, no seal" in str(record)


@pytest.mark.parametrize(
    ("states", "told"),
    [('["wet"]', "must be one of the conditions"), ('["oiled", "dry"]', "states more than one of oiled or dry")],
)
def test_a_sheet_states_only_what_it_may(states: str, told: str) -> None:
    with pytest.raises(QclogError) as caught:
        read_sheet(SHEET.replace('["rotating", "no_seal"]', states))
    assert told in f"{caught.value} {getattr(caught.value, 'problems', '')}"


def test_a_contradiction_brought_in_is_told_with_its_line(log: Log, tmp_path: Path) -> None:
    del log
    folder = write_folder(
        tmp_path / "folder",
        sheet=SHEET,
        people="person,role\nAsh,technician\n",
        jobs="job,case_type,opened\nB1,AX-1,2026-02-02T08:00\n",
        readings="job,characteristic,stage,reading,technician,taken_at,conditions\n"
        "B1,torque,final,2.0,Ash,2026-02-03T08:00,oiled\nB1,torque,final,2.1,Ash,2026-02-03T09:00,oiled break_away\n",
    )
    with pytest.raises(QclogError) as caught:
        import_folder(Log(tmp_path / "other.duckdb"), folder, submission(), timezone="UTC")
    told = f"{caught.value} {getattr(caught.value, 'problems', '')}"
    assert "is read rotating, not break away" in told
