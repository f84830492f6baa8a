"""Which slow libraries each command loads: loading them is most of what a command takes."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from qclog import resources
from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import submission

SLOW = (
    "duckdb", "polars", "numpy", "pyarrow", "pandas", "pint", "scipy.special", "scipy.optimize", "scipy.stats",
    "scipy.signal", "scipy.sparse", "altair", "vl_convert", "typst", "streamlit", "argon2",
)  # fmt: skip
SCRIPT = f"""\
import contextlib, io, sys
from qclog.cli import main
with contextlib.redirect_stdout(io.StringIO()):
    status = main(sys.argv[1:])
print(status, *(name for name in {SLOW!r} if name in sys.modules))
"""
LOG = {"duckdb"}
FRAMES = LOG | {"polars"}
SERIES = FRAMES | {"numpy"}
TRACE = SERIES | {"scipy.special"}
WITH_BOUND_VALUES = {"numpy", "pandas", "pyarrow"} if duckdb.__version__.startswith("1.") else set()  # as DuckDB 1 does

COMMANDS = {
    "job list M07": LOG,
    "job show J0294": LOG,
    "job show J0087": SERIES,  # with a slope learned from two series
    'read J0294 stand_off 16 --position 12 --stage final --conditions "rotated warm" --by Birch': LOG,
    "person list": LOG,
    "gauge list": LOG,
    "sheet show LR-2": LOG,
    "stock list": LOG,
    "pack J0294": LOG,
    'pack --trial 40 --reading 15 --gasket 12 --pinch 4 --leaves "20x4 10x4 5 3x2"': LOG,
    "chart LR-2 recess --cases machined": SERIES,
    "findings": LOG,
    "trace J0118": TRACE,
    "verify": SERIES | {"pyarrow"},
}


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The sample workshop, whose findings have been worked out."""
    log = Log(tmp_path_factory.mktemp("sample") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission("sample workshop"), timezone="Europe/London")
    return log


def loaded(log: Log, command: str) -> set[str]:
    """The slow libraries that a command has loaded when it is done."""
    words = [sys.executable, "-c", SCRIPT, *shlex.split(command), "--log", str(log.path)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=dict(os.environ))
    status, *names = done.stdout.split()
    assert status == "0", done.stderr
    return set(names)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_loads_what_it_needs(sample: Log, command: str) -> None:
    if command in ("findings", "trace J0118"):
        loaded(sample, "findings")  # worked out for the log as it is now
    assert loaded(sample, command) <= COMMANDS[command] | WITH_BOUND_VALUES


PAGE = f"""\
import sys
from pathlib import Path
from streamlit.testing.v1 import AppTest
app = AppTest.from_file(sys.argv[1], default_timeout=120)
app.run()
assert not app.exception
print(0, *(name for name in {SLOW!r} if name in sys.modules))
"""


def test_the_first_page_loads_what_it_shows(sample: Log) -> None:
    loaded(sample, "findings")
    words = [sys.executable, "-c", PAGE, str(resources.folder("dashboards") / "app.py")]
    environment = dict(os.environ) | {"QCLOG_LOG": str(sample.path)}
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=environment)
    # Streamlit's own tables load pandas, and that numpy and pyarrow
    assert set(done.stdout.split()[1:]) <= SERIES | {"streamlit", "pandas", "pyarrow"}


def test_help_loads_none() -> None:
    script = SCRIPT.replace("status = main(sys.argv[1:])", "status = 0; import qclog.cli; qclog.cli.build_parser()")
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0"]


def test_the_command_line_is_one_file_deep() -> None:
    """Nothing of the slow rooms is loaded before a command is chosen."""
    script = "import sys, qclog.cli; print(*sorted(m for m in sys.modules if m.startswith('qclog.')))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    rooms = {Path(name.replace(".", "/")).parts[1] for name in done.stdout.split()}
    assert not rooms & {"services", "store", "stats", "watch", "charts", "report", "exchange", "bench", "web"}
