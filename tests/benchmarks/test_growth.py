"""A log of many small entries opens as quickly as an empty one. Run: pytest -m benchmark -s tests/benchmarks."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qclog.domain import stored
from qclog.domain.places import Place
from qclog.services.jobs import capture
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import backup
from qclog.store.log import Log
from tests.conftest import make_log, submission

pytestmark = pytest.mark.benchmark
ENTRIES = 10_000
PLACE = Place("J-1", "stand_off", "trial", "12")


def opening(log: Log) -> float:
    """CPU seconds to open the log, as every use of it does."""
    start = time.process_time()
    with log.reading() as use:
        use.rows("revision", stored.Revision)
    return time.process_time() - start


def middle_of(times: list[float]) -> float:
    return sorted(times)[len(times) // 2]


def test_ten_thousand_single_readings(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    empty, log = make_log(tmp_path / "empty" / "shop.duckdb"), make_log(tmp_path / "shop.duckdb")
    for number in range(1, ENTRIES + 1):
        capture.take(log, PLACE, str(10 + number % 9), Circumstances("Ash", "FG-1"), submission("reading"))
    pairs = [(opening(empty), opening(log)) for _ in range(60)]
    ratio = middle_of([full for _, full in pairs]) / middle_of([bare for bare, _ in pairs])
    kept = backup.back_up(log, tmp_path / "copy.duckdb", datetime.now(UTC))
    sizes = [file.stat().st_size for file in (log.path, kept.path)]
    print(
        f"\n{ENTRIES:,} entries of one reading: opening {ratio:.2f} times an empty log's;"
        f" file {sizes[0] / 1e6:.1f} MB, its backup {sizes[1] / 1e6:.1f} MB"
    )
    assert ratio < 1.2
    assert sizes[1] <= sizes[0]
