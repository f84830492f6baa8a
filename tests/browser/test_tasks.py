"""Whole tasks as the three people of the workshop do them, in a real browser."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.speech.scans import write_scan
from qclog.services.jobs import jobs
from qclog.services.keeping import sheets
from qclog.store.log import Log
from tests.browser.conftest import PATIENCE, Warm, serve
from tests.browser.test_bench import ALL_STORED, IN_EMPTY_FIELD, PUTTING_RIGHT, sit_down
from tests.conftest import submission
from tests.workshop_with_a_batch import add_units

FORTY = """\
code = "BIG-1"
name = "A gearbox with forty places"
family = "tractor"
version = "1"
view = "seen from the input side, 12 = top"

[[characteristic]]
code = "float"
name = "End float"
unit = "thou"
step = 1.0
positions = ["12", "1", "2", "3", "4", "5", "6", "7", "8", "9"]
stages = ["as_found", "trial", "final"]
gauge_kind = "feeler"

[[characteristic]]
code = "depth"
name = "Bearing depth"
unit = "mm"
step = 0.01
positions = ["12", "1", "2", "3", "4", "5", "6", "7", "8", "9"]
stages = ["as_found"]
gauge_kind = "depth_mic"
"""


@pytest.fixture
def address(log: Log, warm: Warm) -> str:
    sheets.add(log, read_sheet(FORTY), submission("sheet"))
    jobs.open_job(log, Job("J-40", "BIG-1", now()), submission("job"))
    return warm.order(log.path)


def test_forty_readings_by_keyboard_alone_with_a_typo_put_right(page: Page, address: str, log: Log) -> None:
    sit_down(page, address, "J-40")
    typed = [str(9 + i % 5) for i in range(10)] + [f"{20 + i / 100:.2f}" for i in range(10)]
    typed += [str(12 + i % 4) for i in range(20)]
    for number, text in enumerate(typed):
        page.keyboard.type("77" if number == 4 else text)
        page.keyboard.press("Enter")
        if number == len(typed) - 1:
            break
        page.wait_for_function(IN_EMPTY_FIELD)
        if number == 4:
            page.keyboard.type(f"correct {text}")
            page.keyboard.press("Enter")
            page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_text("Everything the sheet wants is read").wait_for()
    story = jobs.tell(log, "J-40")
    counting = {(r.row.stage, r.row.characteristic, r.row.position): r.row for r in story.readings if r.row.counts}
    assert len(counting) == 40
    assert len(story.readings) == 41
    said = [counting[w.place.stage, w.place.characteristic, w.place.position].said for w in story.wanted]
    assert said == typed
    (fixed,) = [r.row for r in story.readings if r.row.replaces]
    assert (fixed.said, fixed.reason, fixed.technician) == (typed[4], "mistyped", "Ash")


def send_by_wire(page: Page, text: str) -> None:
    """The keys of a gauge on a wire, 10 ms apart by their own times, however slowly a busy machine hands them on."""
    keyboard, begin = page.context.new_cdp_session(page), time.time()
    for number, key in enumerate([*text, "Enter"]):
        more = {"text": "\r", "windowsVirtualKeyCode": 13} if key == "Enter" else {"text": key}
        at = {"timestamp": begin + number * 0.01}
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyDown", "key": key, **more, **at})
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyUp", "key": key, **at})


def test_a_gauge_on_a_wire_reaches_the_field_from_anywhere(page: Page, address: str, log: Log) -> None:
    sit_down(page, address, "J-1")
    page.evaluate("document.activeElement.blur()")  # the cursor is nowhere
    page.keyboard.type("40.5")
    page.keyboard.press("Enter")
    page.get_by_text("forty and a half thou").first.wait_for()
    page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_label("Job", exact=True).click()  # the cursor is in another field
    page.wait_for_timeout(1100)  # a gauge does not send in the midst of somebody's typing
    send_by_wire(page, "17.0")
    page.get_by_text("seventeen thou").first.wait_for()
    assert page.get_by_label("Job", exact=True).input_value() != "17.0"
    assert [r.row.said for r in jobs.tell(log, "J-1").readings] == ["40.5", "17.0"]


def test_what_a_person_types_into_another_field_is_never_a_reading(page: Page, address: str, log: Log) -> None:
    """Two keys roll off the fingers as fast as a wire sends, and a busy machine hands keys on in bursts."""
    sit_down(page, address, "J-1")
    for slowly, fast in (("FG", "-12"), ("", "12"), ("J", "-40")):
        page.get_by_label("Job", exact=True).click()
        page.wait_for_timeout(1100)
        page.keyboard.type(slowly, delay=150)
        page.wait_for_timeout(150)
        page.keyboard.type(fast)
        page.keyboard.press("Enter")
    page.wait_for_timeout(1500)
    assert jobs.tell(log, "J-1").readings == ()


def test_what_a_scanner_types_is_never_a_reading(page: Page, address: str, log: Log) -> None:
    sit_down(page, address, "J-1")
    for text, shown in (
        (write_scan("gauge", "FG-1"), "Gauge FG-1"),
        (write_scan("lot", "B-77"), "Lot B-77"),
        (write_scan("job", "J-99"), "no job of that number"),
        (write_scan("job", "J-40"), "End float, as found, at 12"),
    ):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        page.get_by_text(shown, exact=False).first.wait_for()
        page.wait_for_function(IN_EMPTY_FIELD)
    page.keyboard.type("11")
    page.keyboard.press("Enter")
    page.get_by_text("eleven thou").first.wait_for()
    assert jobs.tell(log, "J-1").readings == ()
    assert [r.row.said for r in jobs.tell(log, "J-40").readings] == ["11"]


def test_leaf_by_leaf_without_typing(page: Page, address: str, log: Log) -> None:
    sit_down(page, address, "J-40")
    page.keyboard.type(write_scan("gauge", "FG-1"))
    page.keyboard.press("Enter")
    for leaf, answer in ((2, "Goes"), (3, "Goes"), (4, "Goes"), (5, "Does not go")):
        page.get_by_text(f"Leaf {leaf} thou").wait_for()
        page.get_by_role("button", name=answer, exact=True).click()
    page.get_by_text("four goes, five does not").first.wait_for()
    (row,) = [r.row for r in jobs.tell(log, "J-40").readings]
    assert (row.said, row.gauge, row.position) == ("4/5", "FG-1", "12")


# How many readings the page keeps that were refused and wait to be put right, one after another.
REFUSED = """() => Object.keys(sessionStorage).filter((k) => k.startsWith("qclog:"))
  .flatMap((k) => JSON.parse(sessionStorage.getItem(k)).returned ?? []).length"""


def test_two_benches_on_one_job_lose_nothing(page: Page, browser: Browser, address: str, log: Log) -> None:
    other = browser.new_context(viewport={"width": 1024, "height": 768})
    other.set_default_timeout(PATIENCE)
    second = other.new_page()
    for one in (page, second):
        sit_down(one, address, "J-40")
    for number in range(4):
        for one, text in ((page, str(10 + number)), (second, str(20 + number))):
            one.keyboard.type(text)
            one.keyboard.press("Enter")
        for one in (page, second):
            one.wait_for_function(ALL_STORED)
            while one.evaluate(REFUSED):  # the place was read at the other bench meanwhile
                one.wait_for_function(PUTTING_RIGHT)
                one.keyboard.press("Enter")
                one.wait_for_function(ALL_STORED)
            one.wait_for_function(IN_EMPTY_FIELD)
    other.close()
    said = [r.row.said for r in jobs.tell(log, "J-40").readings]
    assert sorted(said) == sorted(str(n) for n in (10, 11, 12, 13, 20, 21, 22, 23))


def test_the_manager_finds_the_batch_looks_at_it_and_prints_the_review(page: Page, tmp_path: Path) -> None:
    log = Log(tmp_path / "batch.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    for address in serve(log.path):
        page.goto(address)
        page.get_by_text("Batch M09 suggests odd machining").wait_for()
        page.get_by_role("button", name="Its 8 jobs").click()
        page.get_by_role("button", name="K-040, left").wait_for()
        page.keyboard.press("Escape")
        page.get_by_role("radio", name="The month").or_(page.get_by_role("button", name="The month")).first.click()
        with page.expect_download() as got:
            page.get_by_role("button", name="Monthly review").click()
        review = tmp_path / "review.pdf"
        got.value.save_as(review)
        assert review.read_bytes().startswith(b"%PDF-")
        assert len(review.read_bytes()) > 20_000
        page.goto(f"{address}/case_type?case_type=MR-1&characteristic=trial_pack")
        page.get_by_text("More different than luck explains").wait_for()
