"""Every page that shows can be asked as of a day or an entry, says so, and can't be written on meanwhile."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from tests.pages.conftest import open_page

WRITING = {"Keep this", "Keep this of the return", "Grant the concession", "Sign off: it leaves now"}


def said_on(app: AppTest) -> str:
    assert not app.exception
    kinds = ("markdown", "error", "info", "warning", "caption", "success", "subheader", "header")
    return " ".join(str(getattr(e, "value", "")) for kind in kinds for e in app.get(kind)).replace("\\", "")


def labels(app: AppTest) -> set[str]:
    return {b.label for b in app.button}


PAGES = [
    ("job", {"job": "K-044"}),
    ("investigation", {"trace": "K-044"}),
    ("investigation", {}),
    ("case_type", {}),
    ("workshop", {}),
]


@pytest.mark.parametrize(("page", "asked"), PAGES)
def test_a_page_is_shown_as_of_an_entry_and_comes_back_to_now(head: int, page: str, asked: dict[str, str]) -> None:
    later = "hot at the output"
    tells = page in ("job", "investigation")
    then = open_page(page, **asked, as_of=str(head))
    assert f"As of entry {head}" in said_on(then)
    assert later not in said_on(then) + " ".join(labels(then))
    assert not labels(then) & WRITING
    now = then.button(key="back_to_now").click().run()
    assert "As of entry" not in said_on(now)
    assert (later in said_on(now) + " ".join(labels(now))) == tells


@pytest.mark.parametrize(("page", "asked"), PAGES)
def test_what_is_no_entry_and_no_time_is_said_and_can_be_put_right(head: int, page: str, asked: dict[str, str]) -> None:
    app = open_page(page, **asked, as_of="yesterday")
    assert "no entry and no time" in said_on(app)
    app.text_input(key="as_of").set_value(str(head)).run()
    assert f"As of entry {head}" in said_on(app)


def test_what_is_asked_stays_from_page_to_page_and_the_bench_is_always_now(head: int) -> None:
    app = open_page("job", job="K-044", as_of=str(head))
    app.switch_page("app_pages/workshop.py").run()
    assert f"As of entry {head}" in said_on(app)
    app.switch_page("app_pages/bench.py").run()
    assert "As of entry" not in said_on(app)
