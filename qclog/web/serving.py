"""The server of the pages: Streamlit's own, with the guard round it, asking nothing and sending nothing."""

from __future__ import annotations

import argparse
import logging
import os
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

import streamlit
from starlette.middleware import Middleware
from streamlit.starlette import App

from qclog.services.keeping.launching import page_address
from qclog.web.guard import Guard, policy_for


def serve(pages: Path, arguments: Sequence[str]) -> int:
    """Serve the Streamlit script `pages` until it is stopped; `arguments` are those `launching.launch` gives."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--address", required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--host-name", action="append", default=[])
    parser.add_argument("--browser", action="store_true")
    given = parser.parse_args(arguments)
    logging.getLogger("uvicorn.error").addFilter(lambda record: record.levelno >= logging.WARNING)
    index = Path(streamlit.__file__).with_name("static") / "index.html"
    guard = Middleware(
        Guard,
        own=given.address,
        hosts=given.host_name,
        policy=policy_for(index.read_text(encoding="utf-8")),
    )

    @asynccontextmanager
    async def opened(_: App) -> AsyncIterator[None]:
        if given.browser and _has_screen():
            threading.Thread(
                target=webbrowser.open, args=[page_address(given.address, given.port)], daemon=True
            ).start()
        yield

    app = App(pages, middleware=[guard], lifespan=opened)
    try:
        app.run(config=_settings(given.address, given.port))
    except KeyboardInterrupt:
        return 0
    return 0


def _settings(address: str, port: int) -> dict[str, object]:
    return {
        "server.address": address,
        "server.port": port,
        "server.headless": True,  # a browser is opened here, and nothing is asked
        "browser.gatherUsageStats": False,
        "logger.hideWelcomeMessage": True,  # which asks the internet for this machine's address
    }


def _has_screen() -> bool:
    """Whether a browser can open a window, so that none is opened in the terminal."""
    if sys.platform in ("win32", "darwin") or "BROWSER" in os.environ:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
