"""The first command of a newcomer: an account with an empty home, at a terminal and without one. Nothing is asked."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from qclog.store.log import Log

ROOT = Path(__file__).parents[2]
QCLOG = f"{sys.executable} -m qclog"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def around(**more: str) -> dict[str, str]:
    """The environment of a child: no display, and no browser but the one named."""
    left_out = ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")
    return {k: v for k, v in os.environ.items() if k not in left_out} | {"PYTHONPATH": str(ROOT)} | more


def at_a_terminal(
    port: int, command: str, folder: Path, *appears: Path, **more: str
) -> subprocess.CompletedProcess[str]:
    runner = [sys.executable, str(ROOT / ".ci" / "at_a_terminal.py"), str(port), command, *map(str, appears)]
    return subprocess.run(
        runner, capture_output=True, text=True, check=False, cwd=folder, env=around(**more), timeout=600
    )


def test_the_demo_opens_the_browser_and_asks_nothing(tmp_path: Path) -> None:
    """The browser is a program that keeps the address it is given."""
    port, fetched = free_port(), tmp_path / "fetched"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {fetched}.part\nmv {fetched}.part {fetched}\n')
    browser.chmod(0o700)
    done = at_a_terminal(port, f"{QCLOG} demo --port {port}", tmp_path, fetched, BROWSER=f"{browser} %s")
    assert done.returncode == 0, done
    assert f"The dashboard is at http://127.0.0.1:{port} (Ctrl-C stops it)" in done.stdout
    assert fetched.read_text().strip() == f"http://127.0.0.1:{port}"
    assert "Traceback" not in done.stdout
    assert (tmp_path / "demo.duckdb").is_file()


def test_the_dashboard_asks_nothing_either(log: Log) -> None:
    port = free_port()
    done = at_a_terminal(port, f"{QCLOG} dashboard --port {port} --log {log.path}", log.path.parent)
    assert done.returncode == 0, done
    assert len(done.stdout.strip().splitlines()) <= 3, done.stdout


@pytest.mark.parametrize("stdin", ["<&-", "</dev/null"])
def test_without_a_terminal_it_serves_as_well(log: Log, tmp_path: Path, stdin: str) -> None:
    port = free_port()
    home = tmp_path / "home"
    home.mkdir()
    command = f"exec {QCLOG} dashboard --port {port} --log {log.path} {stdin}"
    server = subprocess.Popen(
        ["bash", "-c", command],
        env=around(HOME=str(home)),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
    try:
        served = False
        until = time.monotonic() + 120
        while not served and server.poll() is None and time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                    served = answer.status == 200
            except OSError:
                time.sleep(0.1)
        assert served, server.poll()
    finally:
        server.terminate()
        said = server.communicate(timeout=60)[0].decode()
    assert "mail" not in said.lower()
    assert not [file for file in home.iterdir() if "streamlit" in file.name]
