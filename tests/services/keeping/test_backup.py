"""Backup and restore: by SQL, under the lock, verified, and the same log again."""

from __future__ import annotations

import subprocess
import sys
import threading
from datetime import datetime
from pathlib import Path

import duckdb
import pytest

from qclog.domain.jobs import Person
from qclog.errors import InputError, LogBusyError, LogDamagedError, LogError, OutputError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.exchange.parquet_copy import export_parquet, import_parquet
from qclog.services.keeping import backup, people
from qclog.services.keeping.verifying import find_digest, short_digest, verify
from qclog.store.log import Log
from tests.cli.test_no_room import qclog, told
from tests.conftest import make_log, submission
from tests.store.test_upgrades import rows_in

ROOT = Path(__file__).parents[3]
DAY = datetime(2026, 3, 14, 2, 0)


@pytest.fixture
def filled(log: Log, folder: Path) -> Log:
    """The log with what `folder` adds."""
    text = (folder / "jobs.csv").read_text().replace("J-1,MR-1,S-9,1,,2026-01-05\n", "")
    (folder / "jobs.csv").write_text(text)
    gauges = (folder / "gauges.csv").read_text().splitlines()
    (folder / "gauges.csv").write_text("\n".join([gauges[0], gauges[2]]) + "\n")
    import_folder(log, folder, submission())
    return log


def test_a_backup_is_the_same_log(filled: Log, tmp_path: Path) -> None:
    (tmp_path / "away").mkdir()
    kept = backup.back_up(filled, tmp_path / "away" / "copy.duckdb", DAY)
    assert kept.report.sound
    assert rows_in(kept.path) == rows_in(filled.path)
    assert [f.name for f in kept.path.parent.iterdir()] == ["copy.duckdb"]
    restored = backup.restore(kept.path, Log(tmp_path / "new" / "shop.duckdb"))
    assert restored.report.sound
    assert rows_in(restored.path) == rows_in(filled.path)
    assert short_digest(Log(restored.path)) == short_digest(filled)
    people.add_person(Log(restored.path), Person("Birch", "technician"), submission())
    assert find_digest(Log(restored.path), short_digest(filled).text) is not None
    assert [f.name for f in kept.path.parent.iterdir()] == ["copy.duckdb"]


def test_constraints_come_along(filled: Log, tmp_path: Path) -> None:
    kept = backup.back_up(filled, tmp_path / "copy.duckdb", DAY)
    with duckdb.connect(str(kept.path)) as raw:
        for statement in (
            "INSERT INTO strike SELECT uuidv7(), uuidv7(), 'Ash', '', 1",
            "INSERT INTO person VALUES ('Ash', 'technician', 1)",
            "INSERT INTO person VALUES ('Zed', 'captain', 1)",
        ):
            with pytest.raises(duckdb.ConstraintException):
                raw.execute(statement)


def test_a_folder_gets_one_file_a_day(filled: Log, tmp_path: Path) -> None:
    away = tmp_path / "away"
    with pytest.raises(OutputError, match="plugged in"):
        backup.back_up(filled, away, DAY)
    assert not away.exists()
    away.mkdir()
    kept = backup.back_up(filled, away, DAY)
    assert kept.path == away / "shop-2026-03-14.duckdb"
    with pytest.raises(InputError, match="--replace"):
        backup.back_up(filled, away, DAY)
    people.add_person(filled, Person("Birch", "technician"), submission())
    again = backup.back_up(filled, away, DAY, replace=True)
    assert rows_in(again.path) == rows_in(filled.path)
    assert [f.name for f in away.iterdir()] == ["shop-2026-03-14.duckdb"]


def test_a_log_is_not_backed_up_over_itself_or_restored_over_another(filled: Log, tmp_path: Path) -> None:
    before = rows_in(filled.path)
    with pytest.raises(InputError, match="the log itself"):
        backup.back_up(filled, filled.path, DAY, replace=True)
    kept = backup.back_up(filled, tmp_path / "copy.duckdb", DAY)
    with pytest.raises(LogError, match="file already"):
        backup.restore(kept.path, filled)
    assert rows_in(filled.path) == before


def test_only_what_the_log_holds_as_well_is_replaced(filled: Log, tmp_path: Path) -> None:
    """An earlier backup of the same log; not one that went on by itself, another workshop's, or one nobody can read."""
    other = make_log(tmp_path / "other.duckdb")
    went_on = backup.back_up(filled, tmp_path / "went_on.duckdb", DAY).path
    earlier = backup.back_up(filled, tmp_path / "earlier.duckdb", DAY).path
    people.add_person(Log(went_on), Person("Rook", "technician"), submission())
    people.add_person(filled, Person("Birch", "technician"), submission())
    broken = tmp_path / "broken.duckdb"
    broken.write_bytes(went_on.read_bytes()[:5000])
    before = {path: rows_in(path) for path in (other.path, went_on)}
    for target, said in ((other.path, "does not"), (went_on, "does not"), (broken, "may not be this one")):
        with pytest.raises(InputError, match=said):
            backup.back_up(filled, target, DAY, replace=True)
    assert {path: rows_in(path) for path in before} == before
    assert broken.stat().st_size == 5000
    assert rows_in(backup.back_up(filled, earlier, DAY, replace=True).path) == rows_in(filled.path)


@pytest.mark.parametrize("content", [b"", b"garbage" * 1000])
def test_what_is_no_backup_makes_no_log(tmp_path: Path, content: bytes) -> None:
    bad = tmp_path / "bad.duckdb"
    bad.write_bytes(content)
    with pytest.raises(LogDamagedError):
        backup.restore(bad, Log(tmp_path / "new.duckdb"))
    assert bad.read_bytes() == content
    assert not (tmp_path / "new.duckdb").exists()
    with pytest.raises(InputError, match="no such backup"):
        backup.restore(tmp_path / "none.duckdb", Log(tmp_path / "new.duckdb"))


def test_a_backup_of_what_was_tampered_with_is_made_and_says_so(filled: Log, tmp_path: Path) -> None:
    with duckdb.connect(str(filled.path)) as raw:
        raw.execute("UPDATE reading SET note = 'x'")
    done = subprocess.run(
        [sys.executable, "-m", "qclog", "backup", str(tmp_path / "copy.duckdb"), "--log", str(filled.path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 1
    assert "NOT sound" in done.stdout
    assert rows_in(tmp_path / "copy.duckdb") == rows_in(filled.path)


def test_a_backup_while_others_write_is_one_moment_of_the_log(filled: Log, tmp_path: Path) -> None:
    stop = threading.Event()
    added: list[int] = []

    def keep_adding() -> None:
        while not stop.is_set():
            people.add_person(filled, Person(f"P{len(added)}", "stores"), submission())
            added.append(1)

    writer = threading.Thread(target=keep_adding)
    writer.start()
    try:
        kept = [backup.back_up(filled, tmp_path / f"copy{i}.duckdb", DAY) for i in range(3)]
    finally:
        stop.set()
        writer.join()
    assert all(k.report.sound for k in kept)
    numbers = [k.report.entries for k in kept]
    assert numbers == sorted(numbers)
    for k in kept:
        assert k.report.digest is not None
        assert find_digest(filled, k.report.digest.text) is not None
    assert verify(filled).sound
    assert len(people.list_people(filled)) == 2 + len(added)


def test_a_backup_without_room_or_leave_leaves_nothing(filled: Log, tmp_path: Path) -> None:
    away = tmp_path / "away"
    away.mkdir()
    told(qclog("backup", str(away), "--log", str(filled.path), room=100_000), "backup can't be written", "room")
    assert list(away.iterdir()) == []
    away.chmod(0o500)
    told(qclog("backup", str(away), "--log", str(filled.path)), "backup can't be written")
    away.chmod(0o700)
    with pytest.raises(OutputError, match="can't be written"):
        backup.back_up(filled, Path("/proc/copy.duckdb"), DAY)
    assert qclog("backup", str(away), "--log", str(filled.path)).returncode == 0
    done = qclog("restore", str(next(away.iterdir())), "--log", str(tmp_path / "new.duckdb"), room=100_000)
    told(done, "no room left on the disk")
    assert not (tmp_path / "new.duckdb").exists()
    assert verify(filled).sound


def test_a_log_that_was_restored_is_said_to_be_made_though_it_can_not_be_verified_now(
    filled: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = backup.back_up(filled, tmp_path / "copy.duckdb", DAY)
    export_parquet(filled, tmp_path / "parquet")

    def busy(_: Log) -> None:
        raise LogBusyError("the log has been in use by another program for 30 s")

    with monkeypatch.context() as patch:
        patch.setattr(backup, "verify", busy)
        with pytest.raises(LogError, match=r"again.duckdb is made, whole.* in use by another program"):
            backup.restore(kept.path, Log(tmp_path / "again.duckdb"))
        with pytest.raises(LogError, match=r"third.duckdb is made, whole.* in use by another program"):
            import_parquet(Log(tmp_path / "third.duckdb"), tmp_path / "parquet")
    for name in ("again.duckdb", "third.duckdb"):
        assert verify(Log(tmp_path / name)).sound
