"""What went wrong with a form is said until it is sent again, however often the page is drawn anew meanwhile."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from qclog.services.jobs import jobs
from qclog.store.log import Log
from tests.pages.conftest import open_page


def errors(app: AppTest) -> str:
    return " ".join(e.value for e in app.error)


def press(app: AppTest, label: str) -> None:
    next(b for b in app.button if b.label == label).click().run()
    assert not app.exception


def test_a_problem_stays_while_the_page_is_drawn_anew_and_goes_once_it_is_put_right(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    app = open_page("bench", job="J-1")
    app.selectbox(key="person").set_value("Ash").run()
    press(app, "Add the part")
    assert "No part was named" in errors(app)
    app.run()  # as a stored reading or a colleague's entry makes it
    assert "No part was named" in errors(app)
    next(t for t in app.text_input if t.label.endswith("art, in words") or t.label == "Part").set_value("gasket")
    press(app, "Add the part")
    assert "No part was named" not in errors(app)
    assert [p.part for p in jobs.tell(log, "J-1").parts] == ["gasket"]
