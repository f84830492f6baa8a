"""The job page tells what was said of a return, and takes more of the same return."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from qclog.services.jobs import claims, jobs
from qclog.services.keeping import people
from qclog.store.log import Log
from tests.conftest import submission
from tests.pages.conftest import open_page
from tests.workshop_with_a_batch import add_units


def test_more_is_said_of_a_return_on_the_job_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    people.add_comeback(log, "K-044", datetime(2026, 6, 1, 12), submission(), complaint="hot")
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    app = open_page("job", job="K-044")
    app.selectbox(key="person").set_value("Heron").run()
    what = next(s for s in app.selectbox if s.label == "What is said")
    what.set_value("finding")
    next(t for t in app.text_input if t.label.startswith("It is")).set_value("ring turned")
    next(b for b in app.button if b.label == "Keep this of the return").click().run()
    assert not app.exception
    assert [b.finding for b in jobs.tell(log, "K-044").comebacks] == ["ring turned"]
    assert any("found: ring turned" in m.value.replace("\\", "") for m in app.markdown)


def test_the_manager_sees_what_returns_cost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    claims.set_house(log, "rate", "currency", "EUR", submission(by="Heron"))
    for job, cost in (("K-044", "120"), ("K-045", "30.5")):
        people.add_comeback(log, job, datetime(2026, 6, 1, 12), submission(), complaint="hot")
        claims.amend(log, job, {"parts_cost": cost}, submission())
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    app = open_page("workshop")
    app.segmented_control(key="glance").set_value("Returns").run()
    assert not app.exception
    figures = " ".join(str(m.value) for m in app.markdown) + " ".join(f"{m.label} {m.value}" for m in app.metric)
    assert "150.50 EUR" in figures
    assert app.dataframe[0].value["job"].tolist() == ["K-045", "K-044"]
