"""Findings on the Workshop page, what stands against a job on its page, and the sums of a job there."""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.services import finding_life
from qclog.store.log import Log
from tests.conftest import submission
from tests.pages.conftest import open_page
from tests.pages.test_pages import texts
from tests.pages.test_sums import bench, read_gap  # noqa: F401 - a fixture
from tests.workshop_with_a_batch import add_units


@pytest.fixture
def found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return log


def test_a_finding_is_a_card_with_what_to_check_next(found: Log) -> None:
    said = texts(open_page("workshop"))
    assert "What the readings point to" in said
    assert "Batch M09 suggests odd machining: trial pack of MR-1 high" in said
    assert "n = 8 units, 8 left the building" in said
    assert "measure the batch's cases bare" in said
    assert "not proof" in said
    assert found.exists()


def test_its_jobs_are_one_press_away(found: Log) -> None:
    app = open_page("workshop")
    next(b for b in app.button if b.label.replace("\\", "").startswith("K-040")).click().run()
    assert not app.exception
    assert "Job K-040" in texts(app)
    assert found.exists()


def test_a_closed_one_leaves_the_page_as_soon_as_it_is_said(found: Log) -> None:
    assert "Batch M09" in texts(open_page("workshop"))
    finding_life.note_finding(found, "M09", "closed", "Heron", submission(), found="bar deep", done="bar set")
    said = texts(open_page("workshop"))
    assert "Batch M09" not in said
    assert "1 closed" in said


def test_what_stands_against_a_job_is_on_its_page(found: Log) -> None:
    app = open_page("job", job="K-044")
    assert any("What stood against dispatch" in e.label for e in app.expander)
    said = texts(app)
    assert "Touched by a finding that stands" in said
    assert "Comebacks of this case type: 0 comebacks of 60 units out: too few to say" in said
    assert found.exists()


def test_the_sums_of_a_job_are_on_its_page(bench: Log) -> None:  # noqa: F811 - the fixture
    read_gap(bench, "15/16", "15/16", "15/16", "15/16")
    said = texts(open_page("job", job="J-2"))
    assert "Sums of the bench" in said
    assert "Output cover: pack wanted 28.5 thou" in said


def test_an_aid_to_the_eye_is_one_press_away_and_says_how_often_it_is_wrong(found: Log) -> None:
    app = open_page("case_type", case_type="MR-1", characteristic="trial_pack")
    control = next(c for c in app.button_group if c.label == "Aid to the eye")
    assert "false alarm" not in texts(app)
    control.set_value([control.options[0]] if isinstance(control.value, list) else control.options[0]).run()
    assert not app.exception
    said = texts(app)
    assert "a false alarm every 73 units" in said
    assert "it raises no finding" in said
    assert found.exists()
