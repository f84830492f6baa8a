"""What a command takes as a whole process, against one that only loads DuckDB and polars, in the same run.

CPU of the child, the least of several runs one after another, so that a busy machine counts little.
"""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from qclog import resources
from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import submission

pytestmark = pytest.mark.benchmark

TIMES = 5
COMMANDS = {
    "job list M07": 2.0,  # the ratio it should stay under
    "job show J0294": 2.5,
    "job show J0087": 4.0,
    'read J0294 stand_off 16 --position 12 --stage final --conditions "rotated warm" --by Birch': 2.5,
    "chart LR-2 recess --cases machined": 3.5,
    "findings": 2.5,
    "trace J0118": 5.5,
    "verify": 5.0,
    "paper record J0108 --to {folder}/record.pdf": 5.0,
    "pack J0294": 2.5,
}


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The sample workshop."""
    log = Log(tmp_path_factory.mktemp("sample") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission("sample workshop"), timezone="Europe/London")
    return log


def cpu_and_wall(words: list[str]) -> tuple[float, float]:
    """Seconds of a child process: CPU with its threads, and by the clock."""
    resource = pytest.importorskip("resource")
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(words, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return cpu, time.perf_counter() - begun


def least(words: list[str], made: Path | None = None) -> tuple[float, float]:
    """The least CPU and wall of several runs; what a run made is taken away before the next."""
    runs = []
    for _ in range(TIMES):
        if made is not None:
            made.unlink(missing_ok=True)
        runs.append(cpu_and_wall(words))
    return min(cpu for cpu, _ in runs), min(wall for _, wall in runs)


def test_commands_against_loading_the_libraries(sample: Log, tmp_path: Path) -> None:
    log = shutil.copy(sample.path, tmp_path / "shop.duckdb")
    loading, wall = least([sys.executable, "-c", "import duckdb, polars"])
    print(f"\nimport duckdb, polars: {loading:.2f} s of CPU, {wall:.2f} s by the clock")
    slow = []
    for command, most in COMMANDS.items():
        words = [sys.executable, "-m", "qclog", *shlex.split(command.format(folder=tmp_path)), "--log", str(log)]
        cpu, wall = least(words, tmp_path / "record.pdf")
        print(f"{cpu / loading:5.1f} times  {cpu:.2f} s of CPU, {wall:.2f} s by the clock: qclog {command}")
        if cpu / loading > most:
            slow.append(f"{command}: {cpu / loading:.1f} times, {most} wanted")
    assert not slow, "\n".join(slow)
