"""What the pages do, without a browser."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from qclog.errors import LogBusyError
from qclog.services.jobs import jobs
from qclog.services.overview import bench_view
from qclog.store import lock
from qclog.store.log import Log
from tests.pages.conftest import open_page


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


def field(app: AppTest) -> Any:
    return next(t for t in app.text_input if t.label == "Reading")


def test_readings_are_logged_one_after_another(shop: Log) -> None:
    app = begin()
    assert "Trial pack" in texts(app)
    for text in ("40", "15/16", "61"):
        field(app).set_value(text)
        next(b for b in app.button if b.label == "Store").click().run()
        assert not app.exception
    assert [r.row.said for r in jobs.tell(shop, "J-3").readings] == ["40", "15/16", "61"]
    said = texts(app)
    assert "sixty-one thou" in said
    assert "Is it right" in said or "Did you mean" in said
    assert "at 6" in said


def test_a_reading_is_said_to_be_stored_though_the_page_can_not_look_again(
    shop: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = begin()
    looking = bench_view.look

    def busy(*_: object) -> None:
        raise LogBusyError("the log has been in use by another program for 30 s")

    field(app).set_value("40")
    monkeypatch.setattr(bench_view, "look", busy)
    next(b for b in app.button if b.label == "Store").click().run()
    assert "has been in use" in texts(app)
    assert "Stored: Trial pack: forty thou" in texts(app)
    monkeypatch.setattr(bench_view, "look", looking)
    next(b for b in app.button if b.label == "Try again").click().run()
    assert "forty thou" in texts(app)
    monkeypatch.setattr(bench_view, "look", busy)
    app.run()
    assert "Stored:" not in texts(app)
    assert [r.row.said for r in jobs.tell(shop, "J-3").readings] == ["40"]


def test_what_is_not_understood_stays_in_the_field(shop: Log) -> None:
    app = begin()
    field(app).set_value("forty-ish")
    next(b for b in app.button if b.label == "Store").click().run()
    assert app.error
    assert field(app).value == "forty-ish"
    assert jobs.tell(shop, "J-3").readings == ()


def test_the_last_reading_is_corrected_in_one_action(shop: Log) -> None:
    app = begin()
    field(app).set_value("400")
    next(b for b in app.button if b.label == "Store").click().run()
    next(t for t in app.text_input if t.label == "What it should be").set_value("40")
    next(b for b in app.button if b.label == "Correct it").click().run()
    rows = [r.row for r in jobs.tell(shop, "J-3").readings]
    assert [(r.said, r.replaces, r.reason) for r in rows] == [("400", None, None), ("40", 1, "mistyped")]


def test_conditions_are_asked_for(shop: Log) -> None:
    app = begin("J-2")
    next(b for b in app.button if b.key and b.key.startswith("place_torque")).click().run()
    field(app).set_value("12")
    next(b for b in app.button if b.label == "Store").click().run()
    assert "needs to be recorded with oiled or dry" in texts(app)
    assert len(jobs.tell(shop, "J-2").readings) == 1


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
