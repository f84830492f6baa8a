"""The log file: made once, opened briefly, locked, versioned, and never left half written."""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any
from uuid import UUID

import duckdb
import pytest

from qclog.domain import stored
from qclog.domain.jobs import Person
from qclog.errors import InputError, LogBusyError, LogDamagedError, LogError, LogVersionError
from qclog.services.keeping import people
from qclog.services.keeping.verifying import verify
from qclog.store import records
from qclog.store.ids import new_id
from qclog.store.log import AlreadyStored, Log, Submission
from tests.conftest import submission


def test_a_new_log_is_empty_and_sound(tmp_path: Path) -> None:
    log = Log(tmp_path / "a" / "shop.duckdb")
    log.create(timezone="Europe/London")
    assert verify(log).sound
    with pytest.raises(LogError, match="file already"):
        log.create()


def test_an_unknown_time_zone_makes_no_log(tmp_path: Path) -> None:
    log = Log(tmp_path / "shop.duckdb")
    with pytest.raises(InputError, match="no such time zone"):
        log.create(timezone="Mars/Olympus")
    assert not log.exists()


def test_a_missing_log_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="qclog init"), Log(tmp_path / "no.duckdb").reading():
        pass


@pytest.mark.parametrize("content", [b"", b"garbage" * 1000, b"\0" * 20_000])
def test_a_file_that_is_no_log_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "shop.duckdb"
    path.write_bytes(content)
    with pytest.raises(LogDamagedError), Log(path).reading():
        pass
    if content:
        assert path.read_bytes() == content


def test_a_truncated_log_is_told_and_left_as_it_is(log: Log) -> None:
    whole = log.path.read_bytes()
    log.path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(LogDamagedError):
        verify(log)
    assert log.path.read_bytes() == whole[: len(whole) // 2]


def test_another_database_is_no_log(tmp_path: Path) -> None:
    with duckdb.connect(str(tmp_path / "other.duckdb")) as other:
        other.execute("CREATE TABLE stamps (a INTEGER)")
    with pytest.raises(LogDamagedError, match="not a qclog log"), Log(tmp_path / "other.duckdb").reading():
        pass


def test_a_log_of_a_newer_qclog_is_not_touched(log: Log) -> None:
    with duckdb.connect(str(log.path)) as raw:
        raw.execute("INSERT INTO migration VALUES (9999, 'from the future', 'x', now()::TIMESTAMP)")
    with pytest.raises(LogVersionError, match="newer qclog"), log.reading():
        pass


def test_a_log_whose_migration_was_altered_is_refused(log: Log) -> None:
    with duckdb.connect(str(log.path)) as raw:
        raw.execute("UPDATE migration SET checksum = 'x' WHERE number = 1")
    with pytest.raises(LogVersionError, match="differs"), log.reading():
        pass


def test_a_log_held_by_another_process_is_busy_not_lost(log: Log) -> None:
    script = "import duckdb, sys, time; c = duckdb.connect(sys.argv[1]); print('held', flush=True); time.sleep(60)"
    holder = subprocess.Popen([sys.executable, "-c", script, str(log.path)], stdout=subprocess.PIPE)
    try:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(LogBusyError, match="another program"), Log(log.path, patience=0.3).reading():
            pass
    finally:
        holder.kill()
        holder.communicate()
    with log.reading() as use:
        assert use.rows("counts", stored.Counts)[0].jobs == 1


def test_one_thread_waits_for_the_other_no_longer_than_its_patience(log: Log) -> None:
    told: list[LogBusyError] = []

    def ask() -> None:
        try:
            with Log(log.path, patience=0.1).reading():
                pass
        except LogBusyError as error:
            told.append(error)

    other = threading.Thread(target=ask)
    with log.reading():
        other.start()
        other.join()
    assert "in use" in str(told[0])
    with log.reading() as use, log.reading() as inside:
        assert inside is use


def test_a_submission_is_stored_once(log: Log) -> None:
    once = submission("person")
    people.add_person(log, Person("Birch", "technician"), once)
    with pytest.raises(AlreadyStored), log.writing(once):
        pass
    assert [p.person for p in people.list_people(log)] == ["Ash", "Birch", "Heron"]


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt, SystemExit])
def test_what_stops_half_way_leaves_nothing(log: Log, stop: type[BaseException]) -> None:
    with pytest.raises(stop), log.writing(submission("half")) as use:
        records.add_person(use, Person("Birch", "technician"))
        raise stop
    assert [p.person for p in people.list_people(log)] == ["Ash", "Heron"]
    assert verify(log).sound


def test_entries_keep_who_how_and_their_order(log: Log) -> None:
    with log.reading() as use:
        rows = use.rows("entries", stored.Entry)
    assert [r.entry for r in rows] == list(range(1, len(rows) + 1))
    assert {r.entered_by for r in rows} == {"Ash"}


def _add_people(path: str, start: int, count: int) -> None:
    for i in range(start, start + count):
        people.add_person(Log(Path(path)), Person(f"P{i}", "technician"), Submission("x", "terminal", "p"))


def test_four_writers_and_readers_at_once_lose_nothing(log: Log) -> None:
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_add_people, args=(str(log.path), 10 * i, 5)) for i in range(2)]
    threads = [threading.Thread(target=_add_people, args=(str(log.path), 100 + 10 * i, 5)) for i in range(2)]
    workers: list[Any] = [*writers, *threads]
    for worker in workers:
        worker.start()
    for _ in range(10):
        with log.reading() as use:
            use.rows("people", stored.Person)
    for worker in workers:
        worker.join()
    assert all(w.exitcode == 0 for w in writers)
    assert len(people.list_people(log)) == 2 + 20
    assert verify(log).sound


def test_ids_rise_and_are_version_7() -> None:
    """RFC 9562 section 5.7: version 7 in the high nibble of octet 6, variant 10 in octet 8."""
    ids = [new_id() for _ in range(1000)]
    assert ids == sorted(ids)
    assert len(set(ids)) == 1000
    assert all(isinstance(i, UUID) and i.version == 7 and i.variant == "specified in RFC 4122" for i in ids)


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO person VALUES ('', 'technician', 1)",
        "INSERT INTO person VALUES ('Zed', 'captain', 1)",
        "INSERT INTO gauge VALUES ('G', 'feeler', 'thou', 'nan'::DOUBLE, NULL, NULL, 1)",
        "INSERT INTO job_detail VALUES (uuidv7(), 'J-1', 'colour', 'A', NULL, 1)",
        "INSERT INTO comeback VALUES (uuidv7(), 'J-1', now()::TIMESTAMP, NULL, NULL, 'perhaps', NULL, 1)",
        "INSERT INTO reading VALUES (uuidv7(), 'J-1', 'torque', 'final', '', 1, '16', NULL, 'point', 'nan'::DOUBLE,"
        " 'nan'::DOUBLE, 'thou', NULL, NULL, 'Ash', now()::TIMESTAMP, NULL, NULL, NULL, NULL, 1)",
        "INSERT INTO reading VALUES (uuidv7(), 'J-1', 'torque', 'final', '', 1, '16', NULL, 'point', 16, 17,"
        " 'thou', NULL, NULL, 'Ash', now()::TIMESTAMP, NULL, NULL, NULL, NULL, 1)",
        "INSERT INTO reading VALUES (uuidv7(), 'J-1', 'torque', 'final', '', 2, '16', NULL, 'point', 16, 16,"
        " 'thou', NULL, NULL, 'Ash', now()::TIMESTAMP, NULL, NULL, 1, NULL, 1)",
    ],
)
def test_constraints_refuse_what_no_reading_can_be(log: Log, statement: str) -> None:
    with duckdb.connect(str(log.path)) as raw, pytest.raises(duckdb.Error):
        raw.execute(statement)
