"""Speed on a log of a million readings, shown as ratios and on this machine. Run: pytest -m benchmark -s"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pytest

from qclog.domain.places import Place
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture
from qclog.services.series import history
from qclog.services.series.case_chart import chart_case
from qclog.store.log import Log
from tests.conftest import submission, write_folder

pytestmark = pytest.mark.benchmark
READINGS = 1_000_000
CHARACTERISTICS, POSITIONS = 10, 4


def big_sheet() -> str:
    text = 'code = "XY-1"\nname = "A gearbox"\nfamily = "tractor"\nversion = "2026-01"\n'
    for c in range(CHARACTERISTICS):
        text += (
            f'[[characteristic]]\ncode = "c{c}"\nname = "Float {c}"\nunit = "thou"\nstep = 1.0\nstages = ["final"]\n'
            'positions = ["0", "1", "2", "3"]\nlimits.new = { nominal = 16, lower = 12, upper = 20 }\n'
            "plausible = [5, 60]\n"
        )
    return text


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of a million feeler readings in 25,000 jobs."""
    rng = np.random.default_rng(20260101)
    each = CHARACTERISTICS * POSITIONS
    jobs = READINGS // each
    folder = write_folder(
        tmp_path_factory.mktemp("big"),
        sheet=big_sheet(),
        people="person,role\n" + "".join(f"T{i},technician\n" for i in range(4)),
        gauges="gauge,kind,unit,step\n" + "".join(f"FG-{i},feeler,thou,1\n" for i in range(4)),
    )
    numbers = pl.int_range(READINGS, eager=True)
    pl.DataFrame(
        {
            "job": [f"J{i:06}" for i in range(jobs)],
            "case_type": ["XY-1"] * jobs,
            "case_serial": [f"S{i}" for i in range(jobs)],
            "machining_batch": [f"M{i // 8}" if i % 3 == 0 else None for i in range(jobs)],
            "opened": ["2026-01-01"] * jobs,
        }
    ).write_csv(folder / "jobs.csv")
    pl.DataFrame(
        {
            "job": ("J" + (numbers // each).cast(pl.String).str.zfill(6)),
            "characteristic": "c" + (numbers % CHARACTERISTICS).cast(pl.String),
            "stage": ["final"] * READINGS,
            "position": (numbers // CHARACTERISTICS % POSITIONS).cast(pl.String),
            "attempt": [1] * READINGS,
            "reading": pl.Series(np.round(rng.normal(16, 1.3, READINGS)).astype(int)).cast(pl.String),
            "unit": ["thou"] * READINGS,
            "gauge": "FG-" + (numbers % 4).cast(pl.String),
            "technician": "T" + (numbers % 4).cast(pl.String),
            "taken_at": pl.datetime_range(
                pl.datetime(2026, 1, 1), pl.datetime(2026, 1, 1) + pl.duration(seconds=READINGS - 1), "1s", eager=True
            ).dt.strftime("%Y-%m-%dT%H:%M:%S+00:00"),
        }
    ).write_csv(folder / "readings.csv")
    return folder


def seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


@pytest.fixture(scope="module")
def big_log(big: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Log, float]:
    log = Log(tmp_path_factory.mktemp("log") / "big.duckdb")
    return log, seconds(lambda: import_folder(log, big, submission()))


def test_import_against_a_bare_table(big: Path, big_log: tuple[Log, float], tmp_path: Path) -> None:
    """A million readings, checks and all, within 8 times DuckDB's own reader into a bare table."""

    def bare() -> None:
        with duckdb.connect(str(tmp_path / "bare.duckdb")) as raw:
            raw.execute(f"CREATE TABLE bare AS FROM read_csv('{big / 'readings.csv'}', header = true)")

    bare_seconds = seconds(bare)
    _, whole = big_log
    print(f"\nimport of {READINGS:,}: {whole:.1f} s, bare table {bare_seconds:.2f} s, ratio {whole / bare_seconds:.1f}")
    assert whole / bare_seconds < 8


def test_one_reading_and_one_chart(big_log: tuple[Log, float]) -> None:
    """A reading stored and judged under 100 ms; a characteristic's page data under 150 ms."""
    log, _ = big_log
    place = Place("J000100", "c1", "final", "2")
    how = capture.Circumstances("T1", "FG-1")
    taken = capture.take(log, place, "15/16", how, submission())
    chart_case(log, "XY-1", "c1")
    store = min(seconds(lambda: capture.take(log, place, "15/16", how, submission())) for _ in range(5))
    chart = min(seconds(lambda: chart_case(log, "XY-1", "c1")) for _ in range(5))
    standing = min(seconds(lambda: history.standing(log, taken)) for _ in range(3))
    print(f"\none reading {1000 * store:.0f} ms, chart data {1000 * chart:.0f} ms, standing {1000 * standing:.0f} ms")
    assert store < 0.100
    assert chart < 0.150
