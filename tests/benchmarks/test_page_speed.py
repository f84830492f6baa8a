"""How long a page keeps a person waiting. Run: pytest -m benchmark -s tests/benchmarks/test_page_speed.py

From Enter until the cursor is in the next, empty field; beside it the same with the smallest form Streamlit can draw.
First useful paint of each page, with 100,000 readings in the log.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import pytest
from playwright.sync_api import Page

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import jobs
from qclog.services.keeping import sheets
from qclog.store.log import Log
from tests.benchmarks.workshops import build, write_exchange
from tests.browser.conftest import _wait_for, browser, free_port, page, serve  # noqa: F401 - fixtures
from tests.browser.test_bench import IN_EMPTY_FIELD, sit_down
from tests.browser.test_tasks import FORTY
from tests.conftest import submission

pytestmark = pytest.mark.benchmark

PLAIN = """import streamlit as st
with st.form("plain", clear_on_submit=True):
    st.text_input("Reading")
    st.form_submit_button("Store")
"""


def serve_plain(folder: Path) -> Iterator[str]:
    app = folder / "plain.py"
    app.write_text(PLAIN)
    port = free_port()
    command = [sys.executable, "-m", "streamlit", "run", str(app), f"--server.port={port}", "--server.headless=true"]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=os.environ)
    try:
        _wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=20)


def enter(page: Page, text: str) -> float:  # noqa: F811 - the fixture's name
    page.keyboard.type(text)
    start = time.perf_counter()
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD, polling=10)
    return time.perf_counter() - start


def test_from_enter_to_the_next_field(page: Page, log: Log, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    sheets.add(log, read_sheet(FORTY), submission("sheet"))
    jobs.open_job(log, Job("J-40", "BIG-1", now()), submission("job"))
    for address in serve(log.path):
        sit_down(page, address, "J-40")
        ours = []
        for number in range(20):
            ours.append(enter(page, str(9 + number % 5)))
            page.wait_for_timeout(150)
    for address in serve_plain(tmp_path):
        page.goto(address)
        page.get_by_label("Reading").click()
        plain = []
        for _ in range(20):
            plain.append(enter(page, "17"))
            page.wait_for_timeout(150)
    print(
        f"\nEnter to the next field: {1000 * median(ours):.0f} ms (worst {1000 * max(ours):.0f});"
        f" Streamlit's smallest form {1000 * median(plain):.0f} ms; ratio {median(ours) / median(plain):.1f}"
    )


def test_first_paint_of_each_page(page: Page, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    log = Log(tmp_path / "big.duckdb")
    import_folder(log, write_exchange(build(205, scale=4.0), tmp_path / "folder"), submission())
    for address in serve(log.path):
        page.goto(address)
        page.get_by_text("not proof").first.wait_for()
        for path, said in (
            ("", "jobs"),
            ("bench?job=J00010", "Who is at the bench"),
            ("case_type", "units (n)"),
            ("job?job=J00010", "Job J00010"),
            ("investigation?trace=J00010", "J00010"),
        ):
            start = time.perf_counter()
            page.goto(f"{address}/{path}")
            page.get_by_text(said).first.wait_for()
            print(f"\n{path or 'workshop'}: {time.perf_counter() - start:.2f} s until its first figures", end="")
    print()
