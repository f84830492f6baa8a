"""Pages on a log of a small imported workshop."""

from __future__ import annotations

import json
import time
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from streamlit.testing.v1 import AppTest

from qclog.domain import stored
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping import people
from qclog.store.log import Log
from qclog.web import entries
from tests.conftest import submission
from tests.workshop_with_a_batch import add_units

APP = Path(__file__).parents[2] / "dashboards" / "app.py"


@pytest.fixture
def shop(tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    """The imported folder of the fixtures, with 30 more units for a chart."""
    jobs = "".join(f"K-{i},MR-1,,,M0{i % 3},2026-03-01\n" for i in range(30))
    with (folder / "jobs.csv").open("a") as file:
        file.write(jobs)
    with (folder / "readings.csv").open("a") as file:
        for i in range(30):
            at = f"2026-03-01T10:{i:02}"
            file.write(f"K-{i},trial_pack,trial,,,{60 if i == 20 else 40 + i % 3},,,Ash,{at},,,\n")
            file.write(f"K-{i},stand_off,trial,12,,15,,FG-1,Ash,{at},,,\n")
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission(), timezone="Europe/London")
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return log


@pytest.fixture
def head(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """Of a shop with 60 units: the entry before the return of K-044, hot at the output, was written down."""
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    with log.reading() as use:
        entry = use.rows("revision", stored.Revision)[0].revision
    people.add_comeback(log, "K-044", datetime(2026, 6, 1, 12), submission(), complaint="hot at the output")
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return int(entry)


def open_page(page: str, **query: str) -> AppTest:
    """The app, run at one page."""
    app = AppTest.from_file(str(APP), default_timeout=30)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    if page != "workshop":
        app.switch_page(f"app_pages/{page}.py")
        for name, value in query.items():
            app.query_params[name] = value
        app.run()
    assert not app.exception, app.exception
    return app


def field_of(app: AppTest) -> dict[str, Any]:
    """What the server tells the reading field; without `places` where the page has none."""
    (element,) = app.get("bidi_component")
    told: dict[str, Any] = json.loads(element.proto.json)
    return told


class Typist:
    """Sends what the field in the browser would send, at the place that it would show."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.queue: dict[str, Any] | None = None
        patch.setattr(entries, "sent", lambda: self.queue)

    def enter(self, app: AppTest, text: str, /, **more: Any) -> AppTest:
        """Type it and press Enter."""
        told = field_of(app)
        item = told["chosen"]["item"] if told["chosen"] else told["places"][0]
        entry = {
            "id": str(uuid4()),
            "kind": "reading",
            "text": text,
            "place": item["place"],
            "gauge": told["gauges"].get(item["gauge_kind"]),
            "conditions": [group[0] for group in item["groups"] if len(group) == 1],
            "seen": item["seen"],
            "chosen": told["chosen"] and told["chosen"]["turn"],
            "person": told["person"],
            "job": told["job"],
            "at": time.time() * 1000,
        }
        return self.send(app, entry | more)

    def send(self, app: AppTest, *entered: dict[str, Any]) -> AppTest:
        """Send entries as they are."""
        self.queue = {"round": (self.queue or {"round": 0})["round"] + 1, "entries": list(entered)}
        return app.run()


@pytest.fixture
def typist(monkeypatch: pytest.MonkeyPatch) -> Typist:
    """Someone at the reading field."""
    return Typist(monkeypatch)
