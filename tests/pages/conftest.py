"""Pages on a log of a small imported workshop."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import submission

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
