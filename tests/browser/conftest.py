"""A real dashboard on a real log in a real browser.

A newcomer without Chromium may skip these; CI may not.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

ROOT = Path(__file__).parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
PATIENCE = 60_000  # ms: a busy machine is no defect
# The page is drawn, and nothing on it moves or fades any more: an expander takes half a second to grow.
AT_REST = (
    "() => document.querySelector('[data-testid=stApp]')?.dataset.testScriptState === 'notRunning'"
    " && document.getAnimations().every((a) => a.playState !== 'running')"
)
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


expect.set_options(timeout=PATIENCE)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None and not os.environ.get("CI"):
                item.add_marker(pytest.mark.skip(reason="Chromium is not installed on this machine"))


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def serve(log: Path, *options: str) -> Iterator[str]:
    """The address of a dashboard on `log`, which is stopped afterwards."""
    port = free_port()
    command = ["-m", "qclog", "dashboard", "--log", str(log), "--port", str(port), "--no-browser", *options]
    yield from _served(command, port)


class Warm:
    """A server that stays for many tests: what it shows, and how slowly, is said before a page is opened."""

    def __init__(self, orders: Path, port: int) -> None:
        self.orders, self.port = orders, port

    def run(self) -> Iterator[str]:
        """The address of the server, which is stopped afterwards."""
        yield from _served(
            [str(Path(__file__).with_name("warm_server.py")), str(self.port), str(self.orders)], self.port
        )

    def order(self, log: Path, *, reading: float = 0, page: float = 0) -> str:
        """The address, at which pages opened from now on show `log`; a reading and a page take so many seconds more."""
        whole = self.orders.with_suffix(".new")
        whole.write_text(json.dumps({"log": str(log), "reading": reading, "page": page}), encoding="utf-8")
        whole.replace(self.orders)
        return f"http://127.0.0.1:{self.port}"


@pytest.fixture(scope="session")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Warm]:
    server = Warm(tmp_path_factory.mktemp("warm") / "orders.json", free_port())
    for _ in server.run():
        yield server


def _served(command: list[str], port: int) -> Iterator[str]:
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    server = subprocess.Popen([sys.executable, *command], env=environment, stdout=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for(f"{address}/_stcore/health", server)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=20)


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and server.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2):  # noqa: S310 - our own server
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the dashboard did not start")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    assert CHROMIUM is not None, "CI must install Chromium"
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    context.set_default_timeout(PATIENCE)
    yield context.new_page()
    context.close()
