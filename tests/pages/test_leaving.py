"""What is signed is what was on the screen."""

from __future__ import annotations

import pytest

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.store.log import Log
from tests.conftest import submission
from tests.pages.conftest import open_page

SIGN = "Sign off: it leaves now"
ASH = Circumstances("Ash", None, None, ())


def test_nobody_signs_what_was_not_on_the_screen(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    app = open_page("job", job="J-1")
    app.selectbox(key="person").set_value("Heron").run()
    capture.take(log, Place("J-1", "stand_off", "final", "12"), "19.5", ASH, submission())  # at another bench
    next(b for b in app.button if b.label == SIGN).click().run()
    assert not app.exception
    assert any("entered after the page was drawn" in e.value for e in app.error)
    assert jobs.tell(log, "J-1").job.dispatched is None
    next(b for b in app.button if b.label == SIGN).click().run()
    assert jobs.tell(log, "J-1").job.dispatched is not None


def test_what_is_entered_of_another_job_is_in_nobodys_way(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs.open_job(log, Job("J-2", "MR-1", now()), submission())
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    app = open_page("job", job="J-1")
    app.selectbox(key="person").set_value("Heron").run()
    capture.take(log, Place("J-2", "stand_off", "final", "12"), "4", ASH, submission())
    next(b for b in app.button if b.label == SIGN).click().run()
    assert not app.exception
    assert jobs.tell(log, "J-1").job.dispatched is not None
