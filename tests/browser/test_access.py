"""Every page against the rules of WCAG 2.1 A and AA that axe-core can check, and with logs of every size."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from qclog.store.log import Log
from tests.browser.conftest import AT_REST, PATIENCE, serve
from tests.workshop_with_a_batch import add_units

PAGES = ("", "bench?job=K-010", "case_type", "job?job=K-044", "investigation?trace=K-044")
SECTIONS = (
    ("Case types", "the busiest first"),
    ("Returns", "Returns"),
    ("Gauges", "those that ask"),
    ("Shims", "Shims"),
    ("How well it is kept", "How well the record"),
    ("The month", "The month"),
)
RULES: dict[str, Any] = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("access")
    log = Log(folder / "shop.duckdb")
    add_units(log, folder / "first", 0, 60)
    yield from serve(log.path)


@pytest.mark.parametrize(
    ("scheme", "width", "height"), [("light", 1024, 768), ("dark", 1024, 768), ("light", 390, 844)]
)
def test_pages_can_be_used_by_everyone(browser: Browser, address: str, scheme: Any, width: int, height: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    context.set_default_timeout(PATIENCE)
    page = context.new_page()
    faults = []
    for path in PAGES:
        page.goto(f"{address}/{path}")
        if path.startswith("bench"):
            page.get_by_label("Who is at the bench").click()
            page.keyboard.type("Ash")
            page.keyboard.press("Enter")
            page.get_by_role("textbox", name="Reading").first.wait_for()
        page.get_by_text("maker's manual and competent").first.wait_for()
        faults += _faults(page, path or "workshop")
        for section, said in SECTIONS if not path else ():
            page.get_by_role("radio", name=section).click(force=True)
            page.get_by_role("heading", name=said).wait_for()
            faults += _faults(page, section)
    context.close()
    assert not faults, "\n".join(faults)


def _faults(page: Page, where: str) -> list[str]:
    page.locator('[data-test-script-state="notRunning"]').first.wait_for()  # what is being drawn again is faded
    page.wait_for_function(AT_REST)
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{where}: {fault['id']}: {node['html'][:160]}" for fault in found for node in fault["nodes"]]


def test_pages_ask_nothing_of_the_network(page: Page, address: str) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in PAGES:
        page.goto(f"{address}/{path}")
        page.get_by_text("maker's manual and competent").first.wait_for()
    assert len(asked) > 10
    assert [url for url in asked if not url.startswith((address, "data:", "blob:"))] == []


@pytest.mark.parametrize("units", [0, 1])
def test_every_page_with_nearly_nothing_in_the_log(page: Page, tmp_path: Path, units: int) -> None:
    log = Log(tmp_path / "shop.duckdb")
    if units:
        add_units(log, tmp_path / "first", 0, units)
    else:
        log.create()
    for address in serve(log.path):
        for path in ("", "bench", "case_type", "job", "investigation"):
            page.goto(f"{address}/{path}")
            page.get_by_text("maker's manual and competent").first.wait_for()
            assert page.locator("[data-testid=stException]").count() == 0, path
