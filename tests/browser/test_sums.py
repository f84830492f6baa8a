"""The sums of the bench in a real browser: typed readings bring the pack and its leaves."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimSize
from qclog.services.jobs import jobs
from qclog.services.keeping import sheets, stock
from qclog.store.log import Log
from tests.browser.conftest import Warm
from tests.browser.test_bench import IN_EMPTY_FIELD, sit_down
from tests.conftest import SHEET, submission
from tests.pages.test_sums import PACK


@pytest.fixture
def address(log: Log, warm: Warm) -> str:
    sheets.add(log, read_sheet(SHEET.replace('version = "1"', 'version = "2"') + PACK), submission())
    jobs.open_job(log, Job("J-2", "MR-1", now()), submission())
    for size in (20, 5, 3, 1):
        stock.add_leaves(log, ShimSize("S-A", size, size, "thou"), 2, submission())
    return warm.order(log.path)


def test_the_pack_appears_as_soon_as_the_last_place_is_read(page: Page, address: str) -> None:
    sit_down(page, address, "J-2")
    for text in ("40", "15/16", "15/16", "15/16"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        page.wait_for_function(IN_EMPTY_FIELD)
    assert page.get_by_text("pack wanted").count() == 0
    page.keyboard.type("15/16")
    page.keyboard.press("Enter")
    page.get_by_text("fit 20+5+3 = 28").wait_for()
    page.get_by_text("Output cover: pack wanted 28.5 thou").wait_for()
    assert page.get_by_text("40 - 15.5 = 24.5 recess; 24.5 + 4 pinch = 28.5").count() == 1
    assert page.locator("[data-testid=stException]").count() == 0
    page.wait_for_function(IN_EMPTY_FIELD)
