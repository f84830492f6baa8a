"""A reading is judged by the sheet in force and known when it was entered; what is entered later is told beside it."""

from __future__ import annotations

import pytest

from qclog.cli import main
from qclog.domain.places import Place
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.measures.judging import INSIDE, LOW
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.jobs.remarks import remarks_on
from qclog.services.keeping import sheets
from qclog.services.overview.sign_off import before_dispatch
from qclog.services.series.case_chart import chart_case
from qclog.services.series.pictures import picture_of
from qclog.store.log import Log
from tests.conftest import SHEET, submission

ASH = Circumstances("Ash", None, None, ())


@pytest.fixture
def rewritten(log: Log) -> Log:
    """A final stand-off below its limit, and afterwards a sheet that is said to have been in force long before."""
    taken = capture.take(log, Place("J-1", "stand_off", "final", "12"), "9", ASH, submission())
    assert taken.verdict.result == LOW
    text = SHEET.replace('version = "1"', 'version = "2"\nin_force = 2020-01-01').replace("lower = 19", "lower = 1")
    assert text != SHEET
    sheets.add(log, read_sheet(text), submission(by="Heron"))
    return log


def test_a_backdated_sheet_does_not_rewrite_what_was_known(rewritten: Log) -> None:
    story = jobs.tell(rewritten, "J-1")
    (told,) = story.readings
    assert told.verdict.result == LOW
    assert told.version == "1"
    assert told.later is not None
    assert (told.later.verdict.result, told.later.version, told.later.by) == (INSIDE, "2", "Heron")
    remark = remarks_on(told, story)
    assert remark.startswith("by limits entered afterwards, on ")
    assert "by Heron, sheet 2: inside limits" in remark


def test_every_screen_says_so(rewritten: Log, capsys: pytest.CaptureFixture[str]) -> None:
    chart = chart_case(rewritten, "MR-1", "stand_off", stage="final")
    assert chart.rows["verdict"].to_list() == [LOW]
    assert any("BELOW 19 thou" in text for text in before_dispatch(rewritten, "J-1").outside)
    assert main(["job", "show", "J-1", "--log", str(rewritten.path)]) == 0
    shown = capsys.readouterr().out
    assert "BELOW 19 thou" in shown
    assert "by limits entered afterwards" in shown


def test_a_reading_after_it_is_judged_by_it(rewritten: Log) -> None:
    taken = capture.take(rewritten, Place("J-1", "stand_off", "final", "3"), "9", ASH, submission())
    assert taken.verdict.result == INSIDE
    assert [t.later for t in jobs.tell(rewritten, "J-1").readings if t.row.position == "3"] == [None]


def test_limits_are_drawn_as_steps_where_they_held(sample: Log) -> None:
    """The sample's coupling run-out has a second version of its sheet with another upper limit."""
    chart = chart_case(sample, "LR-2", "coupling_runout")
    earlier, latest = (step.limits.upper if step.limits else None for step in chart.steps)
    assert earlier != latest
    assert sum(step.n for step in chart.steps) == len(chart.rows)
    picture = picture_of(chart)
    (former,) = (line for line in picture.former if line.whose == "workshop")
    (now,) = (line for line in picture.lines if line.whose == "workshop")
    assert (former.value, now.value) == (earlier, latest)
    assert now.first == (former.last or 0) + 1


def test_limits_that_changed_since_the_last_unit_stand_behind_it(rewritten: Log) -> None:
    chart = chart_case(rewritten, "MR-1", "stand_off", stage="final")
    assert [(s.limits.lower if s.limits else None, s.first, s.n) for s in chart.steps] == [(19.0, 0, 1), (1.0, 1, 0)]
