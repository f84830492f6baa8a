"""The reading field on a slow server: no key is lost, and no reading gets into the wrong job or place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.speech.scans import write_scan
from qclog.services.jobs import jobs
from qclog.services.keeping import sheets
from qclog.store.log import Log
from tests.browser.conftest import PATIENCE, Warm, free_port
from tests.browser.test_bench import ALL_STORED, IN_EMPTY_FIELD, LISTENING, PUTTING_RIGHT, READY, sit_down
from tests.conftest import submission

LARGE = """\
code = "BIG-1"
name = "A gearbox with many places"
family = "tractor"
version = "1"
"""
CHARACTERISTIC = """
[[characteristic]]
code = "float_{0}"
name = "End float {0}"
unit = "thou"
step = 1.0
positions = ["12", "1", "2", "3", "4", "5", "6", "7", "8", "9"]
stages = ["as_found"]
"""

Slowly = Callable[..., str]


@pytest.fixture
def slowly(log: Log, warm: Warm) -> Slowly:
    """Serves the log with J-B and J-C of 200 places each, slowed as asked; the address."""
    sheets.add(log, read_sheet(LARGE + "".join(CHARACTERISTIC.format(n) for n in range(20))), submission("sheet"))
    for job in ("J-B", "J-C"):
        jobs.open_job(log, Job(job, "BIG-1", now()), submission("job"))

    def order(*, reading: float = 0, page: float = 0) -> str:
        return warm.order(log.path, reading=reading, page=page)

    return order


def said(log: Log, job: str = "J-B") -> list[tuple[str, str]]:
    """What was typed in a job and where, in the order in which it was stored."""
    return [(r.row.said, f"{r.row.characteristic} {r.row.position}") for r in jobs.tell(log, job).readings]


def places(log: Log, job: str = "J-B") -> list[str]:
    """The places of a job in the sheet's order."""
    return [f"{w.place.characteristic} {w.place.position}" for w in jobs.wanted(log, job)]


def enter(page: Page, text: str) -> None:
    """Typed at a speed no person reaches."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def choose_name(page: Page, name: str = "Ash") -> None:
    page.get_by_label("Who is at the bench").click()
    enter(page, name)


@pytest.mark.parametrize(
    ("readings", "seconds"), [(30, 0.4), pytest.param(200, 3.0, marks=pytest.mark.long)], ids=["30", "200"]
)
def test_every_reading_typed_at_full_speed_is_stored_at_its_place(
    page: Page, slowly: Slowly, log: Log, readings: int, seconds: float
) -> None:
    sit_down(page, slowly(reading=seconds), "J-B")
    typed = [str(5 + n % 37) for n in range(readings)]
    for text in typed:
        enter(page, text)
    page.wait_for_function(ALL_STORED, timeout=PATIENCE + readings * (seconds + 3) * 1000)
    assert said(log) == list(zip(typed, places(log), strict=False))
    taken = [r.row.taken_at for r in jobs.tell(log, "J-B").readings]
    typing = (taken[-1] - taken[0]).total_seconds()
    assert taken == sorted(taken)
    assert typing < readings * seconds  # the moment is that of the key, not of the store


def test_keys_typed_while_a_reading_is_stored_stay_whole(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=1.0, page=0.5), "J-B")
    enter(page, "15/16")
    page.keyboard.type("13.6", delay=500)
    page.keyboard.press("Enter")
    enter(page, "16/17")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == list(zip(("15/16", "13.6", "16/17"), places(log), strict=False))


def test_enter_twice_or_on_nothing_stores_no_more(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=1.0), "J-B")
    page.keyboard.press("Enter")
    enter(page, "15")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    enter(page, "16")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == list(zip(("15", "16"), places(log), strict=False))


def test_what_was_refused_in_one_job_is_never_in_the_next(page: Page, slowly: Slowly, log: Log) -> None:
    address = slowly(reading=0.5)
    sit_down(page, address, "J-B")
    enter(page, "fortyish")
    page.wait_for_function(PUTTING_RIGHT)
    page.get_by_role("button", name="New job").click()
    page.get_by_label("Case type").click()
    enter(page, "BIG")
    page.get_by_label("Job number").fill("J-D")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_function(IN_EMPTY_FIELD)
    expect(page.get_by_text("was not stored in job J-B")).to_be_visible()
    enter(page, "0")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log, "J-B") == []
    assert said(log, "J-D") == [("0", places(log, "J-D")[0])]


def test_what_is_refused_comes_back_to_its_place_and_keeps_nothing_back(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=1.5), "J-B")  # the answer comes when all three are typed
    for text in ("11", "twelvish", "13"):
        enter(page, text)
    page.wait_for_function(PUTTING_RIGHT)
    expect(page.get_by_role("textbox", name="Reading")).to_have_value("twelvish")
    expect(page.locator(".qclog-field:visible .place")).to_have_text("End float 0, at 1")
    enter(page, "12")  # what was refused is selected
    enter(page, "14")
    page.wait_for_function(IN_EMPTY_FIELD)
    here = places(log)
    assert sorted(said(log)) == sorted(zip(("11", "12", "13", "14"), here, strict=False))


def test_text_in_the_field_does_not_go_along_to_another_place_or_job(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(page=0.5), "J-B")
    page.keyboard.type("1")
    page.get_by_role("button", name="at 7: wanted").first.click()
    page.get_by_text("“1” was not stored").wait_for()
    page.wait_for_function(READY)
    enter(page, "17")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == [("17", "float_0 7")]
    page.keyboard.type("1")
    page.get_by_label("Job", exact=True).click()
    enter(page, "J-C")
    page.get_by_text("it was typed for job J-B").wait_for()
    page.wait_for_function(READY)
    enter(page, "3")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log, "J-C") == [("3", "float_0 12")]
    assert len(said(log)) == 1


def test_a_page_still_loading_takes_no_half_of_a_reading(page: Page, slowly: Slowly, log: Log) -> None:
    page.goto(f"{slowly(page=0.7)}/bench?job=J-B")
    choose_name(page)
    page.get_by_label("Who is at the bench").evaluate("e => e.blur()")
    page.keyboard.type("0.7 mm", delay=150)
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == []
    enter(page, "0.7 mm")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == [("0.7 mm", "float_0 12")]


def test_what_is_typed_after_the_scan_of_a_job_belongs_to_that_job(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=0.5, page=1.0), "J-B")
    enter(page, "10")
    page.keyboard.type(write_scan("job", "J-C"), delay=5)
    page.keyboard.press("Enter")
    enter(page, "11")
    page.keyboard.type("12.5", delay=600)  # the answer to the scan comes in the midst of it
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log, "J-B") == [("10", "float_0 12")]
    assert said(log, "J-C") == [("11", "float_0 12"), ("12.5", "float_0 1")]


def test_what_is_typed_after_a_bad_code_is_stored_nowhere(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(page=1.0), "J-B")
    enter(page, write_scan("job", "J-99"))
    enter(page, "11")
    page.get_by_text("“11” was not stored").wait_for()
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == []


def test_what_has_no_answer_outlives_a_reload_and_is_stored_once(page: Page, slowly: Slowly, log: Log) -> None:
    address = slowly(reading=1.5)
    sit_down(page, address, "J-B")
    for text in ("11", "12", "13"):
        enter(page, text)
    page.reload()
    choose_name(page)
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == list(zip(("11", "12", "13"), places(log), strict=False))
    enter(page, "14")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert len(said(log)) == 4


def test_a_second_bench_is_told_what_was_read_meanwhile_and_asked(
    page: Page, browser: Browser, slowly: Slowly, log: Log
) -> None:
    address = slowly(reading=0.3)
    other = browser.new_context(viewport={"width": 1024, "height": 768})
    other.set_default_timeout(PATIENCE)
    second = other.new_page()
    for one in (page, second):
        sit_down(one, address, "J-B")
    enter(page, "20/21")
    page.wait_for_function(IN_EMPTY_FIELD)
    enter(second, "24")
    second.get_by_text("Ash just read 20/21 here").first.wait_for()
    second.wait_for_function(PUTTING_RIGHT)
    assert said(log) == [("20/21", "float_0 12")]
    second.get_by_role("button", name="Leave it out").click()
    second.wait_for_function(IN_EMPTY_FIELD)
    enter(second, "25")
    second.wait_for_function(IN_EMPTY_FIELD)
    other.close()
    assert said(log) == [("20/21", "float_0 12"), ("25", "float_0 1")]


def test_several_lines_that_are_pasted_are_several_readings(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=0.3), "J-B")
    page.get_by_role("textbox", name="Reading").evaluate(
        """e => {
            const given = new DataTransfer();
            given.setData("text", "15/16\\n16/17\\r\\n17\\n");
            e.dispatchEvent(new ClipboardEvent("paste", { clipboardData: given, bubbles: true, cancelable: true }));
        }"""
    )
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == list(zip(("15/16", "16/17", "17"), places(log), strict=False))


def test_enter_that_ends_an_input_method_is_no_enter(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(), "J-B")
    keyboard = page.context.new_cdp_session(page)
    keyboard.send("Input.imeSetComposition", {"text": "１", "selectionStart": 1, "selectionEnd": 1})
    composing = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 229}
    keyboard.send("Input.dispatchKeyEvent", {"type": "rawKeyDown", **composing})
    keyboard.send("Input.dispatchKeyEvent", {"type": "keyUp", **composing})
    keyboard.send("Input.insertText", {"text": "15"})
    expect(page.get_by_role("textbox", name="Reading")).to_have_value("15")
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == [("15", "float_0 12")]


@pytest.mark.parametrize("start", ["", "bench"])
def test_a_job_card_is_scanned_where_there_is_no_field(page: Page, slowly: Slowly, log: Log, start: str) -> None:
    page.goto(f"{slowly()}/{start}")
    page.wait_for_function(LISTENING)
    if start:
        page.get_by_label("Who is at the bench").click()  # the code falls into the box for the name
    page.keyboard.type(write_scan("job", "J-C"), delay=5)
    page.keyboard.press("Enter")
    page.get_by_text("Choose your name to begin").wait_for()
    choose_name(page)
    page.wait_for_function(IN_EMPTY_FIELD)
    enter(page, "9")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log, "J-C") == [("9", "float_0 12")]


def test_the_cursor_is_in_the_field_after_job_then_name_and_after_a_correction(
    page: Page, slowly: Slowly, log: Log
) -> None:
    page.goto(f"{slowly()}/bench")
    page.get_by_label("Job", exact=True).click()
    enter(page, "J-B")
    page.get_by_text("Choose your name to begin").wait_for()
    choose_name(page)
    page.wait_for_function(IN_EMPTY_FIELD)
    enter(page, "400")
    page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_role("button", name="Correct last").click()
    page.get_by_label("What it should be").fill("40")
    page.get_by_role("button", name="Correct it").click()
    page.get_by_text("forty thou").first.wait_for()
    page.wait_for_function(IN_EMPTY_FIELD)
    enter(page, "41")
    page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == [("400", "float_0 12"), ("40", "float_0 12"), ("41", "float_0 1")]


def test_a_correction_is_of_what_was_typed_before_it_or_of_nothing(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=1.5), "J-B")
    for text in ("10", "77", "correct 17"):
        enter(page, text)
    page.wait_for_function(IN_EMPTY_FIELD)
    here = places(log)
    assert said(log) == [("10", here[0]), ("77", here[1]), ("17", here[1])]
    for text in ("eightish", "correct 18"):
        enter(page, text)
    page.get_by_text("“correct 18” was not stored").wait_for()
    page.wait_for_function(PUTTING_RIGHT)
    assert len(said(log)) == 3


def test_skip_and_not_accessible_are_of_the_place_that_is_shown(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=1.0), "J-B")
    enter(page, "10")
    page.get_by_role("button", name="Skip for now").click()
    enter(page, "12")
    page.get_by_role("button", name="Not accessible").click()
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    here = places(log)
    assert said(log) == [("10", here[0]), ("12", here[2]), ("not accessible", here[3])]


def test_conditions_are_asked_in_the_page_and_remembered(page: Page, slowly: Slowly, log: Log) -> None:
    sit_down(page, slowly(reading=0.5), "J-1")
    page.get_by_role("button", name="wanted").last.click()
    expect(page.locator(".qclog-field:visible .place")).to_contain_text("Turning torque")
    enter(page, "12")
    page.get_by_text("needs to be recorded with oiled or dry").wait_for()
    expect(page.get_by_role("textbox", name="Reading")).to_have_value("12")
    page.get_by_role("button", name="dry", exact=True).click()
    page.keyboard.press("Enter")
    page.wait_for_function(IN_EMPTY_FIELD)
    (row,) = [r.row for r in jobs.tell(log, "J-1").readings]
    assert (row.said, row.conditions) == ("12", "dry rotating")


def test_what_is_typed_while_the_server_is_gone_is_stored_once_it_is_back(
    page: Page, log: Log, slowly: Slowly, tmp_path: Path
) -> None:
    """The log is set up by the fixture; the servers are this test's own, one after the other at one port."""
    assert callable(slowly)
    own = Warm(tmp_path / "orders.json", free_port())
    address = own.order(log.path)
    for _ in own.run():
        sit_down(page, address, "J-B")
        enter(page, "10")
        page.wait_for_function(IN_EMPTY_FIELD)
    for text in ("11", "12"):
        enter(page, text)
    expect(page.get_by_text("Being stored: 11")).to_be_visible()
    for _ in own.run():
        page.wait_for_function(IN_EMPTY_FIELD)
    assert said(log) == list(zip(("10", "11", "12"), places(log), strict=False))
