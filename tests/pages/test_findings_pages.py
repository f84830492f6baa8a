"""Findings on the Workshop page, what stands against a job on its page, and the sums of a job there."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from qclog.domain import stored
from qclog.domain.jobs import Job, Part, Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import people
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import submission
from tests.pages.conftest import open_page
from tests.pages.test_pages import texts
from tests.pages.test_sums import bench, read_gap  # noqa: F401 - a fixture
from tests.workshop_with_a_batch import START, add_units


@pytest.fixture
def found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return log


def test_a_finding_is_a_card_with_what_to_check_next(found: Log) -> None:
    said = texts(open_page("workshop"))
    assert "What the readings point to" in said
    assert "Batch M09 suggests odd machining: trial pack high" in said
    assert "8 of 8 left the building" in said
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
    assert "measure the batch's cases bare" in texts(open_page("workshop"))
    finding_life.note_finding(found, "M09", "closed", "Heron", submission(), found="bar deep", done="bar set")
    app = open_page("workshop")
    assert "measure the batch's cases bare" not in texts(app)
    assert any(e.label == "1 closed" for e in app.expander)
    assert "found: bar deep; done: bar set" in texts(app)


def test_what_became_of_a_finding_is_said_on_the_page_by_name(found: Log) -> None:
    app = open_page("workshop")
    assert not any(b.label == "Keep this" for b in app.button)  # nobody is signed on
    app.selectbox(key="person").set_value("Heron").run()
    next(t for t in app.text_area if t.label.startswith("What was found")).set_value("bar set deep")
    next(b for b in app.button if b.label == "Keep this").click().run()
    assert not app.exception
    mine = finding_life.pick(finding_life.watch(found).followed, "M09")
    assert [(n.state, n.person, n.found) for n in mine.notes] == [("looked into", "Heron", "bar set deep")]
    next(s for s in app.selectbox if s.label == "It is").set_value("closed")
    next(b for b in app.button if b.label == "Keep this").click().run()
    assert "say what was done" in " ".join(e.value for e in app.error).casefold()


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ("Case types", "Left outside limits"),
        ("Gauges", "since its last good check"),
        ("Shims", "No shim stock yet"),
        ("How well it is kept", "no single readings with a feeler"),
        ("The month", "came in"),
    ],
)
def test_every_table_of_the_workshop(found: Log, section: str, said: str) -> None:
    app = open_page("workshop")
    next(iter(app.button_group)).set_value(section).run()
    assert not app.exception
    assert said.casefold() in (texts(app) + " ".join(m.label for m in app.metric)).casefold()
    assert found.exists()


def test_a_job_leaves_with_a_concession_in_someones_name(found: Log, tmp_path: Path) -> None:
    jobs.open_job(found, Job("K-900", "MR-1", now()), submission())
    how = Circumstances("Ash", None, None, ("oiled", "rotating"))
    jobs.add_part(found, Part("K-900", "bearing", condition="new"), submission())
    capture.take(found, Place("K-900", "torque", "final"), "30", how, submission())
    app = open_page("job", job="K-900")
    assert "Choose your name at the top" in texts(app)
    app.selectbox(key="person").set_value("Heron").run()
    assert not any(b.label.startswith("Sign off") for b in app.button if b.key != "sign_off_page")
    next(t for t in app.text_area if t.label.startswith("Concession")).set_value("stiff new seal, runs in")
    next(b for b in app.button if b.label == "Grant the concession").click().run()
    next(b for b in app.button if b.label.startswith("Sign off: it leaves")).click().run()
    assert not app.exception
    row = jobs.tell(found, "K-900").job
    assert row.concession == "stiff new seal, runs in (Heron)"
    assert row.dispatched is not None
    assert tmp_path.exists()


def test_who_may_not_sign_off_is_told_who_may(found: Log) -> None:
    people.add_person(found, Person("Rook", "manager"), submission())
    jobs.open_job(found, Job("K-901", "MR-1", now()), submission())
    app = open_page("job", job="K-901")
    app.selectbox(key="person").set_value("Ash").run()
    assert "Rook" in " ".join(i.value for i in app.info)
    assert not [b for b in app.button if b.label.startswith(("Sign off", "Grant"))]
    app.selectbox(key="person").set_value("Rook").run()
    assert [b for b in app.button if b.label.startswith("Sign off: it leaves")]


def test_what_stands_against_a_job_is_on_its_page(found: Log) -> None:
    app = open_page("job", job="K-044")
    assert any("What stood against dispatch" in e.label for e in app.expander)
    said = texts(app)
    assert "Touched by a finding that stands" in said
    assert "Comebacks of this case type: 0 units of 60 came back, " in said
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


def test_units_stand_side_by_side_on_the_case_type_page(found: Log) -> None:
    app = open_page("case_type", case_type="MR-1", characteristic="trial_pack")
    said = texts(app)
    assert "More different than luck explains on this chart alone" in said
    control = next(c for c in app.button_group if c.label == "By")
    control.set_value("lot").run()
    assert not app.exception
    assert "6 with 3 units or more" in texts(app)
    assert any(e.label == "How the workshop's limits came to be (1 version)" for e in app.expander)
    assert found.exists()


def test_a_comeback_is_written_on_the_job_page_by_whoever_may(found: Log) -> None:
    people.add_person(found, Person("Rook", "manager"), submission(by="Heron"))
    people.add_person(found, Person("Teal", "warranty"), submission(by="Rook"))
    app = open_page("job", job="K-044")
    app.selectbox(key="person").set_value("Ash").run()
    next(b for b in app.button if b.label == "Keep this").click().run()
    assert "Ash is a technician and may not write comebacks" in " ".join(e.value for e in app.error).replace("\\", "")
    app.selectbox(key="person").set_value("Teal").run()
    next(t for t in app.text_area if t.label.startswith("Complaint")).set_value("hot at the output")
    next(b for b in app.button if b.label == "Keep this").click().run()
    assert not app.exception
    (back,) = jobs.tell(found, "K-044").comebacks
    assert (back.complaint, back.attributable) == ("hot at the output", "open")


def test_a_check_of_a_gauge_is_written_on_the_page(found: Log) -> None:
    def page() -> None:
        from qclog.web import reading, recording, who

        who.choose(reading.log(), "Your name")
        recording.record_gauge_event(reading.log(), "TQ-1", "lbf·in")

    app = AppTest.from_function(page, default_timeout=30).run()
    app.selectbox(key="person").set_value("Ash").run()
    app.number_input[0].set_value(10.0)
    app.number_input[1].set_value(10.05)
    next(b for b in app.button if b.label == "Keep this").click().run()
    assert not app.exception
    with found.reading() as use:
        (row,) = use.rows("gauge_checks", stored.GaugeEvent)
    assert (row.gauge, row.event, row.reference, row.reading, row.by) == (
        "TQ-1",
        "check",
        10,
        10.05,
        "Ash",
    )


def test_the_life_of_a_gauge_is_told_with_what_it_read_in_doubt(found: Log) -> None:
    people.check_gauge(found, "TQ-1", "check", submission(), at=START, reference=10.0, reading=10.0)
    people.check_gauge(found, "TQ-1", "check", submission(), at=now(), reference=10.0, reading=14.0)

    def page() -> None:
        from qclog.web import glance, reading

        glance.show_life(reading.shop(reading.log()), "TQ-1")

    app = AppTest.from_function(page, default_timeout=30).run()
    assert not app.exception
    (warning,) = app.warning
    assert "readings of" in warning.value.replace("\\", "")
    assert "found off" in warning.value
    assert app.dataframe[0].value["check"].to_list() == ["bad", "good"]
