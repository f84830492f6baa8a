"""Typing at the bench in a real browser: the cursor is where the next reading goes, and Enter stores once."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from qclog.services.jobs import jobs
from qclog.store.log import Log
from tests.browser.conftest import Warm

READY = (
    "() => { const e = document.activeElement;"
    " return e && e.getAttribute('aria-label') === 'Reading' && e.value === '' && !e.readOnly; }"
)
ALL_STORED = "() => document.querySelector('.qclog-field')?.dataset.waiting === '0'"
PUTTING_RIGHT = "() => document.querySelector('.qclog-field')?.dataset.state === 'refused'"
LISTENING = "() => document.querySelector('.qclog-field')?.dataset.state === 'listening'"
IN_EMPTY_FIELD = f"() => ({READY})() && ({ALL_STORED})()"


@pytest.fixture
def address(log: Log, warm: Warm) -> str:
    return warm.order(log.path)


def sit_down(page: Page, address: str, job: str = "J-1") -> None:
    page.goto(f"{address}/bench?job={job}")
    page.get_by_label("Who is at the bench").click()
    page.keyboard.type("Ash")
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)


def test_several_readings_with_enter_alone(page: Page, address: str, log: Log) -> None:
    sit_down(page, address)
    for text in ("40", "15/16", "0.41 mm", "seventeen", "no leaf enters"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        page.wait_for_function(IN_EMPTY_FIELD)
    story = jobs.tell(log, "J-1")
    assert [(r.row.said, r.row.position) for r in story.readings] == [
        ("40", ""), ("15/16", "12"), ("0.41 mm", "3"), ("seventeen", "6"), ("no leaf enters", "9"),
    ]  # fmt: skip
    assert page.get_by_text("no leaf enters").count() >= 1


def test_a_double_enter_stores_once(page: Page, address: str, log: Log) -> None:
    sit_down(page, address)
    page.keyboard.type("40")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    page.wait_for_timeout(1000)
    assert [r.row.said for r in jobs.tell(log, "J-1").readings] == ["40"]


def test_bad_text_stays_and_is_put_right(page: Page, address: str, log: Log) -> None:
    sit_down(page, address)
    page.keyboard.type("forty-ish")
    page.keyboard.press("Enter")
    page.get_by_text("unknown unit").first.wait_for()
    expect(page.get_by_role("textbox", name="Reading")).to_have_value("forty-ish")
    page.get_by_role("textbox", name="Reading").fill("40")
    page.keyboard.press("Enter")
    page.get_by_text("forty thou").first.wait_for()
    assert [r.row.said for r in jobs.tell(log, "J-1").readings] == ["40"]


def test_an_unlikely_value_is_put_right_with_one_press(page: Page, address: str, log: Log) -> None:
    sit_down(page, address)
    for text in ("40", "0.41"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_role("button", name="It was 0.41 mm").click()
    page.get_by_text("nought point four one millimetres").first.wait_for()
    rows = [r.row for r in jobs.tell(log, "J-1").readings]
    assert [(r.said, r.replaces) for r in rows] == [("40", None), ("0.41", None), ("0.41 mm", 1)]


def test_who_job_and_gauge_are_kept_from_page_to_page(page: Page, address: str, log: Log) -> None:
    sit_down(page, address)
    page.keyboard.type("40")
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_label("Gauge (feeler)").click()
    page.keyboard.type("FG-1")
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_role("link", name="Jobs").click()
    page.get_by_text("Find a job").wait_for()
    page.get_by_role("link", name="Bench").click()
    page.wait_for_function(IN_EMPTY_FIELD)
    page.keyboard.type("15/16")
    page.keyboard.press("Enter")
    page.get_by_text("fifteen goes, sixteen does not").first.wait_for()
    last = jobs.tell(log, "J-1").readings[-1].row
    assert (last.technician, last.gauge, last.position) == ("Ash", "FG-1", "12")


@pytest.mark.parametrize("width", [390, 1024])
def test_no_page_is_wider_than_the_screen(page: Page, address: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    for path in ("", "case_type", "job?job=J-1", "bench?job=J-1"):
        page.goto(f"{address}/{path}")
        page.get_by_text("maker's manual and competent").first.wait_for()
        main = page.locator("[data-testid=stMain]")
        assert main.evaluate("e => e.scrollWidth") <= main.evaluate("e => e.clientWidth"), path


def test_every_page_shows_without_an_error(page: Page, address: str) -> None:
    for path, said in (
        ("", "Workshop"),
        ("case_type", "Case types"),
        ("job?job=J-1", "Job J-1"),
        ("bench", "Who is at"),
    ):
        page.goto(f"{address}/{path}")
        page.get_by_text(said).first.wait_for()
        page.get_by_text("maker's manual and competent").first.wait_for()
        assert page.locator("[data-testid=stException]").count() == 0
