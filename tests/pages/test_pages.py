"""What the pages do, without a browser."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from qclog.errors import LogBusyError
from qclog.services.jobs import capture, jobs
from qclog.services.overview import bench_view
from qclog.store import lock
from qclog.store.log import Log
from tests.pages.conftest import Typist, field_of, open_page


def texts(app: AppTest) -> str:
    parts = []
    for kind in (
        "title",
        "header",
        "subheader",
        "markdown",
        "caption",
        "info",
        "success",
        "warning",
        "error",
        "metric",
    ):
        parts += [str(getattr(e, "value", "")) + str(getattr(e, "label", "")) for e in getattr(app, kind)]
    return "\n".join(parts).replace("\\", "")


@pytest.mark.parametrize("page", ["workshop", "bench", "case_type", "job"])
def test_every_page_opens_on_an_empty_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: str) -> None:
    log = Log(tmp_path / "empty.duckdb")
    log.create()
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    assert "No " in texts(open_page(page)) or page == "bench"


@pytest.mark.parametrize("page", ["workshop", "bench", "case_type", "job"])
def test_every_page_says_the_caution(shop: Log, page: str) -> None:
    assert shop.exists()
    assert "maker's manual" in texts(open_page(page))


def test_a_log_that_is_gone_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(tmp_path / "gone.duckdb"))
    assert "no log here" in texts(open_page("workshop"))


def test_the_workshop_page_counts(shop: Log) -> None:
    assert shop.exists()
    app = open_page("workshop")
    assert {m.label: m.value for m in app.metric} == {
        "readings": "65", "jobs": "33", "case types": "1", "comebacks": "1",
    }  # fmt: skip


def test_a_unit_that_stands_out_is_named(shop: Log) -> None:
    assert shop.exists()
    app = open_page("case_type", case_type="MR-1", characteristic="recess")
    said = texts(app)
    assert "1 of 30 units stand out" in said
    assert app.dataframe[0].value["job"].to_list() == ["K-20"]
    assert app.dataframe[0].value["why"].to_list() == ["above the control limit"]


def test_the_forced_stage_is_labelled(shop: Log) -> None:
    assert shop.exists()
    app = open_page("case_type", case_type="MR-1", characteristic="stand_off")
    which = next(s for s in app.selectbox if s.label.startswith("Which units"))
    which.set_value(next(o for o in which.options if "final" in o)).run()
    said = texts(app)
    assert "set by choice of shim" in said
    assert "Too few to set limits" in said


def test_a_jobs_story_is_told(shop: Log) -> None:
    assert shop.exists()
    app = open_page("job", job="J-1")
    said = texts(app)
    assert "Job J-1" in said
    assert "noisy" in said
    readings = app.dataframe[0].value
    assert readings["read"].to_list() == ["40 thou", "19/20 thou", "61 thou", "16 thou"]
    assert "corrects attempt 1: mistyped" in readings["remarks"].to_list()[3]
    assert any("J-3" in b.label.replace("\\", "") for b in app.button)


def test_markdown_and_html_in_the_log_are_shown_as_they_are(tmp_path: Path, shop: Log) -> None:
    from qclog.web.frame import plain

    assert plain("<b>[x](http://y) $a$ :red[z]") == "\\<b\\>\\[x\\]\\(http\\://y\\) \\$a\\$ \\:red\\[z\\]"
    assert tmp_path.exists()
    assert shop.exists()


def begin(job: str = "J-3") -> AppTest:
    app = open_page("bench", job=job)
    app.selectbox(key="person").set_value("Ash").run()
    return app


def test_readings_are_logged_one_after_another(shop: Log, typist: Typist) -> None:
    app = begin()
    assert field_of(app)["places"][0]["words"] == "Trial pack"
    for text in ("40", "15/16", "61"):
        typist.enter(app, text)
        assert not app.exception
    assert [r.row.said for r in jobs.tell(shop, "J-3").readings] == ["40", "15/16", "61"]
    said = texts(app)
    assert "sixty-one thou" in said
    assert "Is it right" in said or "Did you mean" in said
    assert "at 6" in field_of(app)["places"][0]["words"]


def test_a_reading_is_said_to_be_stored_though_the_page_can_not_look_again(
    shop: Log, typist: Typist, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = begin()
    looking = bench_view.look

    def busy(*_: object) -> None:
        raise LogBusyError("the log has been in use by another program for 30 s")

    monkeypatch.setattr(bench_view, "look", busy)
    typist.enter(app, "40")
    assert "has been in use" in texts(app)
    assert "Stored: Trial pack: forty thou" in texts(app)
    monkeypatch.setattr(bench_view, "look", looking)
    next(b for b in app.button if b.label == "Try again").click().run()
    assert "forty thou" in texts(app)
    assert len(field_of(app)["stored"]) == 1
    monkeypatch.setattr(bench_view, "look", busy)
    app.run()
    assert "Stored:" not in texts(app)
    assert [r.row.said for r in jobs.tell(shop, "J-3").readings] == ["40"]


def test_what_is_not_understood_goes_back_to_its_place(shop: Log, typist: Typist) -> None:
    app = typist.enter(begin(), "forty-ish")
    (refused,) = field_of(app)["refused"]
    assert "nknown unit" in refused["message"]
    assert refused["place"] == ["J-3", "trial_pack", "trial", ""]
    assert jobs.tell(shop, "J-3").readings == ()


def test_while_the_log_is_busy_nothing_is_refused(shop: Log, typist: Typist, monkeypatch: pytest.MonkeyPatch) -> None:
    app = begin()

    def busy(*_: object, **__: object) -> None:
        raise LogBusyError("the log has been in use by another program for 30 s")

    with monkeypatch.context() as patch:
        patch.setattr(capture, "take", busy)
        typist.enter(app, "40")
    told = field_of(app)
    assert (told["stored"], told["refused"]) == ([], [])
    assert "has been in use" in told["waiting"]
    assert typist.queue is not None
    typist.send(app, *typist.queue["entries"])
    assert len(field_of(app)["stored"]) == 1
    assert [r.row.said for r in jobs.tell(shop, "J-3").readings] == ["40"]


def test_what_another_person_typed_waits_for_that_person(shop: Log, typist: Typist) -> None:
    app = typist.enter(begin(), "40", person="Heron")
    told = field_of(app)
    assert (told["stored"], told["refused"]) == ([], [])
    assert jobs.tell(shop, "J-3").readings == ()


@pytest.mark.parametrize(
    "wrong", [{"place": ["J-3"]}, {"at": "noon"}, {"id": "1"}, {"text": None}, {"seen": "x"}, {"before": 3}]
)
def test_what_no_page_of_ours_sends_is_refused(shop: Log, typist: Typist, wrong: dict[str, object]) -> None:
    app = typist.enter(begin(), "40", **wrong)
    assert not app.exception
    (refused,) = field_of(app)["refused"]
    assert refused["message"]
    assert jobs.tell(shop, "J-3").readings == ()


def test_the_last_reading_is_corrected_in_one_action(shop: Log, typist: Typist) -> None:
    app = typist.enter(begin(), "400")
    next(t for t in app.text_input if t.label == "What it should be").set_value("40")
    next(b for b in app.button if b.label == "Correct it").click().run()
    rows = [r.row for r in jobs.tell(shop, "J-3").readings]
    assert [(r.said, r.replaces, r.reason) for r in rows] == [("400", None, None), ("40", 1, "mistyped")]


def test_conditions_are_asked_for(shop: Log, typist: Typist) -> None:
    app = begin("J-2")
    next(b for b in app.button if b.key and b.key.startswith("place_torque")).click().run()
    assert field_of(app)["chosen"]["item"]["groups"] == [["oiled", "dry"], ["rotating"]]
    typist.enter(app, "12")
    (refused,) = field_of(app)["refused"]
    assert "needs to be recorded with oiled or dry" in refused["message"]
    assert len(jobs.tell(shop, "J-2").readings) == 1
    typist.enter(app, "12 dry")
    assert field_of(app)["chosen"] is None
    assert jobs.tell(shop, "J-2").readings[-1].row.conditions == "rotating dry"


def test_who_has_to_wait_for_the_log_is_told_for_whom(shop: Log) -> None:
    """An import holds the log: the page waits for it and says so, and then shows what it was asked for."""
    held = threading.Event()

    def bring_in() -> None:
        with shop.reading("import of 50,000 readings (Rook, import)"):
            held.set()
            while len(lock._lines[str(shop.path.absolute())].waiting) < 2:
                time.sleep(0.05)
            time.sleep(2 * lock._TELL_AFTER_SECONDS)

    importing = threading.Thread(target=bring_in)
    importing.start()
    held.wait(60)
    app = open_page("workshop")
    importing.join()
    assert any("import of 50,000 readings (Rook, import), since" in t.value.replace("\\", "") for t in app.toast)
    assert "maker's manual" in texts(app)
