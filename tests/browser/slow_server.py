"""The pages on a log whose server takes its time: `slow_server.py PORT SECONDS_A_READING SECONDS_A_PAGE`."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

from qclog.services.jobs import capture
from qclog.services.overview import bench_view
from qclog.web.serving import serve

PAGES = Path(__file__).parents[2] / "dashboards"


def slowed(function: Any, seconds: float) -> Any:
    def slow(*args: Any, **kwargs: Any) -> Any:
        time.sleep(seconds)
        return function(*args, **kwargs)

    return slow


if __name__ == "__main__":
    port, a_reading, a_page = sys.argv[1:]
    capture.take = slowed(capture.take, float(a_reading))
    bench_view.look = slowed(bench_view.look, float(a_page))
    os.chdir(PAGES)
    sys.exit(serve(PAGES / "app.py", ["--address=127.0.0.1", f"--port={port}"]))
