"""What a page stored is said to be stored, though another program takes the log before the page can look again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.services.jobs import jobs
from qclog.store.log import Log
from tests.busy import another_process
from tests.conftest import submission
from tests.pages.conftest import Typist, open_page
from tests.pages.test_pages import begin, texts
from tests.workshop_with_a_batch import add_units


@pytest.fixture
def found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    """A workshop with a finding, one job in work, and little patience with a log that is taken."""
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    jobs.open_job(log, Job("K-900", "MR-1", now()), submission())
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setattr(Log.__init__, "__defaults__", (0.3, None))
    return log


def press(app: AppTest, label: str) -> None:
    next(b for b in app.button if b.label.startswith(label)).click().run()


def as_heron(page: str, **query: str) -> AppTest:
    app = open_page(page, **query)
    app.selectbox(key="person").set_value("Heron").run()
    return app


def comeback() -> tuple[AppTest, str]:
    app = as_heron("job", job="K-044")
    next(t for t in app.text_area if t.label.startswith("Complaint")).set_value("hot at the output")
    return app, "Keep this"


def note() -> tuple[AppTest, str]:
    app = as_heron("workshop")
    next(t for t in app.text_area if t.label.startswith("What was found")).set_value("bar set deep")
    return app, "Keep this"


def sign_off() -> tuple[AppTest, str]:
    return as_heron("job", job="K-900"), "Sign off: it leaves"


def part() -> tuple[AppTest, str]:
    app = begin("K-900")
    next(t for t in app.text_input if t.label == "Another part, in words").set_value("gasket")
    return app, "Add the part"


def left_to_do() -> tuple[AppTest, str]:
    app = begin("K-900")
    next(t for t in app.text_area if t.label == "What is left to do").set_value("paint")
    return app, "Note it"


def new_job() -> tuple[AppTest, str]:
    app = begin("K-900")
    next(t for t in app.text_input if t.label == "Job number").set_value("K-901")
    return app, "Open the job"


FORMS: dict[Callable[[], tuple[AppTest, str]], str] = {
    comeback: "Stored: comeback of job K-044",
    note: "Stored: finding",
    sign_off: "Stored: dispatched of job K-900",
    part: "Stored: part of job K-900: gasket",
    left_to_do: "Stored: left to do on job K-900",
    new_job: "Stored: open job K-901",
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.usefixtures("found")
def test_a_form_says_what_it_stored_though_the_log_is_taken_right_after_it(
    form: Callable[[], tuple[AppTest, str]],
) -> None:
    app, button = form()
    with another_process() as another:
        another.wait_for_an_entry()
        press(app, button)
        assert another.has_it
        assert not app.exception
        assert "in use by another program" in texts(app)
        assert FORMS[form] in texts(app).replace("\\", "")
        press(app, "Try again")
        assert FORMS[form] in texts(app).replace("\\", "")
    press(app, "Try again")
    assert not app.exception
    assert "Stored:" not in texts(app)


@pytest.mark.usefixtures("found")
def test_a_reading_is_said_to_be_stored_though_the_log_is_taken_right_after_it(typist: Typist) -> None:
    app = begin("K-900")
    with another_process() as another:
        another.wait_for_an_entry()
        typist.enter(app, "40")
        assert another.has_it
        assert not app.exception
        assert "in use by another program" in texts(app)
        assert "Stored: Trial pack: forty thou" in texts(app)
        press(app, "Try again")
        assert "Stored: Trial pack: forty thou" in texts(app)
    press(app, "Try again")
    assert not app.exception
    assert "Stored:" not in texts(app)
