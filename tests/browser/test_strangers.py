"""What a website, a stranger on the network or somebody with an old link gets from the pages: nothing.

Chromium is told that evil.example is this machine, as an attacker's name server would tell it (DNS rebinding).
"""

from __future__ import annotations

import http.server
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page

from qclog.domain.jobs import Person
from qclog.services.keeping import people, signing_on
from qclog.store.log import Log
from tests.browser.conftest import CHROMIUM, PATIENCE, SWITCHES, serve
from tests.conftest import make_log, submission
from tests.workshop_with_a_batch import add_units

PIN = "4711"
OPENS = """(url) => new Promise((done) => {
  const socket = new WebSocket(url, ["streamlit"]);
  socket.onopen = () => { socket.close(); done("open"); };
  socket.onerror = () => done("refused");
})"""
FETCHES = "(url) => fetch(url).then((answer) => answer.status, () => 0)"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Pages on this machine, as `qclog dashboard` opens them."""
    folder = tmp_path_factory.mktemp("strangers")
    log = Log(folder / "shop.duckdb")
    add_units(log, folder / "first", 0, 60)
    yield from serve(log.path)


@pytest.fixture(scope="module")
def elsewhere() -> Iterator[int]:
    """The port of another web server, whose page does nothing and lets scripts run in it."""

    class Empty(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(b"<p>a page of somebody else's</p>")

        def log_message(self, *_: object) -> None:
            """Nothing: the tests' output is not for it."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Empty)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server.server_port
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def rebound(browser: Browser) -> Iterator[Browser]:
    """A browser for which evil.example and qclog.example are this machine."""
    rules = "--host-resolver-rules=MAP evil.example 127.0.0.1, MAP qclog.example 127.0.0.1"
    chromium = browser.browser_type.launch(executable_path=CHROMIUM, args=[*SWITCHES, rules])
    yield chromium
    chromium.close()


def test_a_website_under_another_name_reaches_nothing(rebound: Browser, address: str, elsewhere: int) -> None:
    port = urlsplit(address).port
    page = rebound.new_page()
    answer = page.goto(f"http://evil.example:{port}/")
    assert answer is not None
    assert answer.status == 403
    assert "these pages are not known as evil.example" in page.inner_text("body")
    assert page.evaluate(FETCHES, f"http://evil.example:{port}/_stcore/health") == 403
    assert page.evaluate(OPENS, f"ws://evil.example:{port}/_stcore/stream") == "refused"
    assert page.evaluate(OPENS, f"ws://127.0.0.1:{port}/_stcore/stream") == "refused"
    page.goto(f"http://evil.example:{elsewhere}/")
    assert page.evaluate(OPENS, f"ws://localhost:{port}/_stcore/stream") == "refused"
    assert page.evaluate(OPENS, f"ws://127.0.0.1:{port}/_stcore/stream") == "refused"
    page.goto(f"http://127.0.0.1:{elsewhere}/")  # another program's page on this machine
    assert page.evaluate(OPENS, f"ws://127.0.0.1:{port}/_stcore/stream") == "refused"
    for own in (f"127.0.0.1:{port}", f"localhost:{port}"):
        page.goto(f"http://{own}/")
        page.get_by_text("maker's manual and competent").first.wait_for()
        assert page.evaluate(OPENS, f"ws://{own}/_stcore/stream") == "open"
    page.close()


def test_a_name_that_is_allowed_is_served(rebound: Browser, log: Log, elsewhere: int) -> None:
    """As behind a proxy that keeps the Host, and as behind one that puts another there."""
    for at in serve(log.path, "--host-name", "qclog.example"):
        port = urlsplit(at).port
        page = rebound.new_page()
        page.goto(f"http://qclog.example:{port}/")
        page.get_by_text("maker's manual and competent").first.wait_for()
        page.goto(f"http://qclog.example:{elsewhere}/")
        assert page.evaluate(OPENS, f"ws://127.0.0.1:{port}/_stcore/stream") == "open"
        answer = page.goto(f"http://evil.example:{port}/")
        assert answer is not None
        assert answer.status == 403
        page.close()


def test_no_other_page_may_hold_ours_in_a_frame(page: Page, address: str, elsewhere: int) -> None:
    page.goto(f"http://127.0.0.1:{elsewhere}/")
    page.set_content(f'<iframe src="{address}" width="900" height="600"></iframe>')
    page.wait_for_load_state()
    assert [frame.url for frame in page.frames[1:]] == ["chrome-error://chromewebdata/"]
    with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - our own server
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]


def test_the_pages_keep_to_their_own_policy(page: Page, address: str) -> None:
    """Every page is drawn with its charts, and the browser had nothing to refuse."""
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    for path in (
        "",
        "case_type?case_type=MR-1&characteristic=torque",
        "job?job=K-044",
        "investigation?trace=K-044",
        "bench?job=K-010",
    ):
        page.goto(f"{address}/{path}")
        page.get_by_text("maker's manual and competent").first.wait_for()
        page.locator('[data-test-script-state="notRunning"]').first.wait_for()
        if path.startswith("case_type"):
            page.locator("[data-testid=stVegaLiteChart] svg.marks").first.wait_for()
    assert [text for text in told if "Content Security Policy" in text or "violates" in text] == []


def test_a_link_to_a_paper_dies_with_the_page(browser: Browser, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{address}/job?job=K-044")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Job card").click()
    link = waiting.value.url
    assert "/media/" in link
    assert context.request.get(link).status == 200
    assert _status(link) == 403  # another browser, which has no page open
    page.close()
    until = time.monotonic() + 30
    while context.request.get(link).status != 403:
        assert time.monotonic() < until, "the link still works without its page"
        time.sleep(0.1)
    context.close()


def test_with_sign_on_nothing_is_shown_before_and_nothing_is_left_after(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> None:
    log = make_log(tmp_path_factory.mktemp("signed") / "shop.duckdb")
    people.add_person(log, Person("Rook", "manager"), submission("person"))
    for name in ("Ash", "Heron", "Rook"):
        signing_on.set_pin(log, name, PIN, submission("PIN", "Rook"))
    for at in serve(log.path, "--sign-on"):
        context = browser.new_context()
        context.set_default_timeout(PATIENCE)
        page = context.new_page()
        page.goto(f"{at}/job?job=J-1")
        page.get_by_label("PIN").wait_for()
        assert not any(name in page.content() for name in ("Ash", "Heron", "Rook", "J-1"))
        page.get_by_label("Your name").fill("Heron")
        page.get_by_label("PIN").fill(PIN)
        page.get_by_role("button", name="Sign on").click()
        with page.expect_download() as waiting:
            page.get_by_role("button", name="Job card").click()
        link = waiting.value.url
        assert context.request.get(link).status == 200
        page.get_by_role("button", name="Heron").click()
        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("PIN").wait_for()
        until = time.monotonic() + 30
        while context.request.get(link).status == 200:
            assert time.monotonic() < until, "the link still works after signing out"
            time.sleep(0.1)
        context.close()


def _status(url: str) -> int:
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:  # noqa: S310 - our own server
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
