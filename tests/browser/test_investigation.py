"""A whole task in a real browser: trace a comeback to its gasket lot and take the recall list away."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import polars as pl
import pytest
from playwright.sync_api import Page, expect

from qclog import resources
from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.browser.conftest import Warm
from tests.browser.test_bench import LISTENING
from tests.conftest import submission

PARTS = resources.folder("sample_data") / "parts.csv"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory, warm: Warm) -> str:
    log = Log(tmp_path_factory.mktemp("sample") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission("sample workshop"), timezone="Europe/London")
    return warm.order(log.path)


def test_a_comeback_is_traced_to_its_gasket_lot_and_the_recall_list_taken_away(
    page: Page, address: str, tmp_path: Path
) -> None:
    """By what the screens say alone: the list of comebacks, the evidence, the list of those that share."""
    page.goto(f"{address}/investigation")
    page.get_by_role("button", name="2025-12-26, job J0118").click()
    page.get_by_text("Came back 2025-12-26 after").wait_for()
    page.get_by_text("CONTRIBUTING").first.wait_for()
    page.get_by_text("Lot G-31 suggests a parts batch").first.wait_for()
    page.get_by_text("23 units: none in the shop, all out; 3 of them came back at some time.").wait_for()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Recall list (23)").click()
    waiting.value.save_as(tmp_path / "recall.csv")
    with (tmp_path / "recall.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    carriers = set(pl.read_csv(PARTS).filter(pl.col("lot") == "G-31")["job"])
    assert {row["job"] for row in rows} == carriers - {"J0118"}
    assert all(row["customer"] and row["where now"] for row in rows)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Investigation file").click()
    waiting.value.save_as(tmp_path / "file.zip")
    with zipfile.ZipFile(io.BytesIO((tmp_path / "file.zip").read_bytes())) as archive:
        names = sorted(Path(name).name for name in archive.namelist())
    assert names == ["investigation.html", "investigation.pdf", "readings.csv", "recall.csv"]
    assert page.locator("[data-testid=stException]").count() == 0


def test_the_job_card_is_taken_away_from_the_job_page(page: Page, address: str, tmp_path: Path) -> None:
    page.goto(f"{address}/job?job=J0108")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Job card").click()
    assert waiting.value.suggested_filename == "job-card-J0108.pdf"
    waiting.value.save_as(tmp_path / "card.pdf")
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")
    page.get_by_role("button", name="Investigate").click()
    page.get_by_text("The evidence, graded").wait_for()


def test_nothing_hangs_over_the_edge_of_a_phone(page: Page, address: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{address}/investigation?trace=J0175")
    page.get_by_text("That a reading goes with comebacks").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("cursor", ["in the field", "nowhere"])
def test_a_scanned_code_is_understood(page: Page, address: str, cursor: str) -> None:
    page.goto(f"{address}/investigation")
    field = page.get_by_label("What came back")
    field.wait_for()
    if cursor == "in the field":
        field.click()
    page.wait_for_function(LISTENING)
    page.keyboard.type("qclog:lot:G-31")
    page.keyboard.press("Enter")
    page.get_by_text("24 units: none in the shop").wait_for()
    expect(field.first).to_have_value("qclog:lot:G-31")
