"""One server of the pages for many tests: `warm_server.py PORT ORDERS`.

ORDERS is a file of JSON that a test writes before it opens a page: `log`, which log a session that begins looks at,
and the seconds that `reading` (storing one) and `page` (looking at a job) take more. A session keeps its log, so that
nothing late from one test is stored in the next one's.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import streamlit as st

from qclog.services.jobs import capture
from qclog.services.overview import bench_view
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.serving import serve

PAGES = Path(__file__).parents[2] / "dashboards"
_LOG = "log_of_this_session"


def ordered(orders: Path, what: str) -> Any:
    return json.loads(orders.read_text(encoding="utf-8"))[what]


def slowed(function: Any, orders: Path, what: str) -> Any:
    def slow(*args: Any, **kwargs: Any) -> Any:
        time.sleep(ordered(orders, what))
        return function(*args, **kwargs)

    return slow


def chosen_log(orders: Path) -> Any:
    def log() -> Log:
        if _LOG not in st.session_state:
            st.session_state[_LOG] = ordered(orders, "log")
        return Log(Path(st.session_state[_LOG]))

    return log


if __name__ == "__main__":
    port, orders = sys.argv[1], Path(sys.argv[2])
    capture.take = slowed(capture.take, orders, "reading")
    bench_view.look = slowed(bench_view.look, orders, "page")
    reading.log = chosen_log(orders)
    os.chdir(PAGES)
    sys.exit(serve(PAGES / "app.py", ["--address=127.0.0.1", f"--port={port}"]))
