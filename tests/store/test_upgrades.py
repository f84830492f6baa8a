"""Logs of earlier schema steps come forward with every row, after a copy was made; or nothing is touched."""

from __future__ import annotations

import hashlib
import os
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import duckdb
import pytest

from qclog.domain.jobs import Person
from qclog.errors import LogDamagedError, LogVersionError
from qclog.services.keeping import backup, people
from qclog.services.keeping.verifying import verify
from qclog.store import chain, migrations
from qclog.store.log import Log
from tests.conftest import submission

ROOT = Path(__file__).parents[2]
OLD = Path(__file__).parents[1] / "data" / "old_logs"
RELEASED = {
    1: "271689d8cbccaae920eff9909495e9c1c88137bba9b751a48448781bd3e2d9cf",
    2: "805fa616215b4bf534db17c41f65ad64c3b007919b59475b02a585b06af678a5",
    3: "3d98d890c118886086ffe1d2adf016c993de9d1627318e4a8870e4121d036750",
    4: "12b28108d8a8b72ef87d4c0b0c2cd57b252a0fffdb783cc6163ed1bf715b4bed",
    5: "3ae4c214536f389b12f2b0ecbcb98496bbcc45e9d11a007ea52ba306f868a69b",
    6: "25c595181779ab571df58bd20a615ee73f00aabba87b0dccef037e0ef21c9500",
}


def make_old(path: Path, step: int) -> Log:
    """A log as a qclog that knew `step` schema steps left it."""
    with duckdb.connect(str(path), config={"storage_compatibility_version": "v1.5.0"}) as raw:
        raw.execute(migrations._LEDGER)
        for number, name, text, checksum in migrations.known()[:step]:
            raw.execute(text)
            raw.execute("INSERT INTO migration VALUES (?, ?, ?, '2026-01-01')", [number, name, checksum])
            if (filling := OLD / f"step_{number}.sql").exists():
                raw.execute(filling.read_text(encoding="utf-8"))
        if step >= 4:
            chain.begin(raw)
    return Log(path)


def rows_in(path: Path) -> dict[str, list[Any]]:
    """Every row of every table, without qclog."""
    with duckdb.connect(str(path), read_only=True) as raw:
        tables = [row[0] for row in raw.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]
        return {t: raw.execute(f"SELECT * FROM {t} ORDER BY ALL").fetchall() for t in tables}  # noqa: S608 - tables of ours


def test_no_released_schema_step_was_changed() -> None:
    ours = {number: checksum for number, _, _, checksum in migrations.known()}
    assert {number: ours[number] for number in RELEASED} == RELEASED


@pytest.mark.parametrize("step", sorted(RELEASED))
def test_an_old_log_comes_forward_with_every_row(tmp_path: Path, step: int) -> None:
    log = make_old(tmp_path / "shop.duckdb", step)
    before = rows_in(log.path)
    assert all(before[t] for t in before)
    report = verify(log)
    assert report.sound
    assert report.as_found == report.entries == len(before["entry"])
    after = rows_in(log.path)
    ledger = after.pop("migration")
    assert ledger[:step] == before.pop("migration")
    assert {t: after[t] for t in before} == before
    people.add_person(log, Person("Birch", "technician"), submission(by="Heron"))
    assert verify(log).sound
    assert verify(log).as_found == report.entries


@pytest.mark.parametrize("step", sorted(RELEASED))
def test_a_copy_as_it_was_lies_beside_it(tmp_path: Path, step: int) -> None:
    log = make_old(tmp_path / "my shop's.duckdb", step)
    before = rows_in(log.path)
    verify(log)
    verify(log)
    (copy,) = [f for f in tmp_path.glob("*.duckdb") if f != log.path]
    assert copy.name.startswith(f"my shop's-before-step-{step + 1}-20")
    assert rows_in(copy) == before
    restored = backup.restore(copy, Log(tmp_path / "again" / "shop.duckdb"))
    assert restored.report.sound
    assert rows_in(copy) == before


def digest_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_without_room_for_the_copy_nothing_is_touched(tmp_path: Path) -> None:
    log = make_old(tmp_path / "shop.duckdb", 3)
    before = digest_of(log.path)
    done = subprocess.run(
        [sys.executable, "-m", "qclog", "job", "list", "--log", str(log.path)],
        check=False,
        capture_output=True,
        text=True,
        cwd=ROOT,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)),
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 1, done
    assert "no copy of it could be made first" in done.stderr
    assert "has not been touched" in done.stderr
    assert digest_of(log.path) == before
    assert [f.name for f in tmp_path.iterdir() if not f.name.endswith(".lock")] == ["shop.duckdb"]
    assert verify(log).sound


def test_an_old_log_that_is_damaged_is_not_touched(tmp_path: Path) -> None:
    """The copy reads every row, so damage of any shows before anything is written."""
    log = make_old(tmp_path / "shop.duckdb", 3)
    with duckdb.connect(str(log.path)) as raw:
        raw.execute("INSERT INTO person SELECT 'P' || i, 'stores', 1 FROM range(200000) AS t(i)")
    whole = log.path.read_bytes()
    told = 0
    for at in range(300_000, min(len(whole), 6_000_000), 750_000):  # blocks are of 256 KiB; some hold only an index
        hurt = bytearray(whole)
        hurt[at : at + 8] = b"????????"
        log.path.write_bytes(hurt)
        try:
            assert verify(log).sound
        except LogDamagedError:
            told += 1
            assert log.path.read_bytes() == hurt
        for copy in tmp_path.glob("*-before-step-*"):
            copy.unlink()
    assert told >= 3


def test_an_old_log_cut_short_is_not_touched(tmp_path: Path) -> None:
    log = make_old(tmp_path / "shop.duckdb", 2)
    log.path.write_bytes(log.path.read_bytes()[:30_000])
    before = digest_of(log.path)
    with pytest.raises(LogDamagedError):
        verify(log)
    assert digest_of(log.path) == before


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO migration VALUES (9999, 'from the future', 'x', now()::TIMESTAMP)",
        "UPDATE migration SET checksum = 'x' WHERE number = 1",
    ],
)
def test_an_old_log_with_a_strange_ledger_is_not_touched(tmp_path: Path, statement: str) -> None:
    log = make_old(tmp_path / "shop.duckdb", 2)
    with duckdb.connect(str(log.path)) as raw:
        raw.execute(statement)
    before = digest_of(log.path)
    with pytest.raises(LogVersionError):
        verify(log)
    assert digest_of(log.path) == before
    with pytest.raises(LogVersionError):
        backup.restore(log.path, Log(tmp_path / "new.duckdb"))
    assert not (tmp_path / "new.duckdb").exists()
