"""What someone who has never seen the bench page does first, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from qclog.domain.jobs import Person
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.services.jobs import jobs
from qclog.services.keeping import people, sheets
from qclog.store.log import Log
from tests.browser.conftest import AT_REST, serve
from tests.browser.test_bench import IN_EMPTY_FIELD
from tests.conftest import submission

SHEET = """\
code = "NEW-1"
name = "A rear axle"
family = "axle"
version = "1"

[[variant]]
code = "A"
name = "with the long cage"

[[characteristic]]
code = "backlash"
name = "Backlash"
unit = "thou"
step = 1.0
positions = 3
gauge_kind = "dial"
parts = ["gear_set"]
limits.new = { lower = 5, upper = 8 }
limits.reused = { lower = 5, upper = 14 }
"""


@pytest.fixture
def address(log: Log) -> Iterator[str]:
    sheets.add(log, read_sheet(SHEET), submission("new sheet"))
    people.add_person(log, Person("Rowan", "technician"), submission("new person"))
    yield from serve(log.path)


def test_a_job_is_opened_and_its_first_reading_typed_with_what_the_screen_says(
    page: Page, address: str, log: Log
) -> None:
    page.goto(f"{address}/bench")
    page.get_by_label("Who is at the bench").click()
    page.keyboard.type("Rowan")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="New job").click()
    page.get_by_label("Case type").click()
    page.keyboard.type("NEW")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Open the job").click()
    page.get_by_text("A job needs a number").wait_for()
    page.get_by_label("Variant").click()
    page.keyboard.type("A")
    page.keyboard.press("Enter")
    page.get_by_label("Job number").fill("N-1")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_function(IN_EMPTY_FIELD)
    page.get_by_role("button", name="Open the job").wait_for(state="hidden")
    for refused_or_said in ("banana", "12"):  # what was refused is typed over
        page.keyboard.type(refused_or_said)
        page.keyboard.press("Enter")
        page.get_by_text("not understood" if refused_or_said == "banana" else "ABOVE 8 thou").first.wait_for()
    page.wait_for_function(AT_REST)  # a press on what is drawn anew in that moment is none
    page.get_by_text("Parts and lots (0)").click()
    page.wait_for_function(AT_REST)
    page.get_by_role("button", name="Add the part").click()
    page.get_by_text("No part was named").wait_for()
    page.wait_for_function(AT_REST)  # a list of Streamlit's shuts when what it hangs from moves
    page.get_by_label("Part", exact=True).click()
    page.keyboard.type("gear")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Part", exact=True)).to_have_value("gear set")
    page.get_by_role("radio", name="reused").click(force=True)
    page.get_by_role("button", name="Add the part").click()
    page.get_by_text("Limits 5 to 14 thou").wait_for()
    page.get_by_role("button", name="Correct last").click()
    page.get_by_label("What it should be").fill("11")
    page.get_by_label("What it should be").press("Tab")
    page.get_by_role("button", name="Correct it").click()
    page.get_by_text("eleven thou").first.wait_for()
    page.get_by_role("button", name="Correct it").wait_for(state="hidden")
    story = jobs.tell(log, "N-1")
    assert (story.job.variant, story.job.case_type) == ("A", "NEW-1")
    assert [(p.part, p.condition) for p in story.parts] == [("gear_set", "reused")]
    assert [(r.row.said, r.row.counts) for r in story.readings] == [("12", False), ("11", True)]
