"""A log in which somebody put more than rows: nothing of it is run, and what it is gets named.

The edits are made with DuckDB itself, outside qclog, as anybody could who can write to the file.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pytest

from qclog.domain import stored
from qclog.domain.jobs import Person
from qclog.errors import LogDamagedError, LogError
from qclog.notices import told_to
from qclog.services.keeping import backup, people
from qclog.services.keeping.verifying import verify
from qclog.store import contents, migrations
from qclog.store.connecting import unread_beside
from qclog.store.log import Log
from tests.conftest import submission

ROOT = Path(__file__).parents[2]


def alter(log: Log, *statements: str) -> None:
    with duckdb.connect(str(log.path)) as raw:
        for statement in statements:
            raw.execute(statement)


MACROS = [
    ("nullif", "CREATE MACRO nullif(a, b) AS 'hidden'"),
    ("epoch_us", "CREATE MACRO epoch_us(t) AS 0"),
    ("sum", "CREATE MACRO sum(x) AS 0"),
    ("max", "CREATE MACRO max(x) AS 0"),
    ("count_star", "CREATE MACRO count_star() AS 0"),
    ("coalesce", "CREATE MACRO coalesce(a, b) AS 7"),
    ("arg_max", "CREATE MACRO arg_max(a, b) AS 'x'"),
    ("hex", "CREATE MACRO hex(a) AS ''"),
    ("length", "CREATE MACRO length(a) AS 5"),
    ("lower", "CREATE MACRO lower(a) AS (SELECT content FROM read_text('/etc/hostname'))"),
    ("levenshtein", "CREATE MACRO levenshtein(a, b) AS 0"),
    ("hash", "CREATE MACRO hash(a) AS 0"),
    ("array_to_string", "CREATE MACRO array_to_string(a, b) AS ''"),
    ("concat_ws", "CREATE MACRO concat_ws(a, b, c) AS ''"),
    ("lag", "CREATE MACRO lag(a, b, c) AS 0"),
    ("if", 'CREATE MACRO "if"(a, b, c) AS b'),
    ("=", 'CREATE MACRO "="(a, b) AS true'),
    ("||", "CREATE MACRO \"||\"(a, b) AS 'x'"),
    ("duckdb_functions", "CREATE MACRO duckdb_functions() AS TABLE SELECT 1 WHERE false"),
    ("duckdb_tables", "CREATE MACRO duckdb_tables() AS TABLE SELECT 1 WHERE false"),
    ("duckdb_columns", "CREATE MACRO duckdb_columns() AS TABLE SELECT 1 WHERE false"),
    ("duckdb_constraints", "CREATE MACRO duckdb_constraints() AS TABLE SELECT 1 WHERE false"),
    ("current_database", "CREATE MACRO current_database() AS 'other'"),
    ("nobody_calls_this", "CREATE MACRO nobody_calls_this() AS 1"),
]
OTHERS = [
    ("view v", "CREATE VIEW v AS SELECT * FROM read_text('/etc/hostname')"),
    ("view reading_now", "CREATE VIEW reading_now AS SELECT * FROM reading"),
    ("view comeback", "ALTER TABLE comeback RENAME TO c2", "CREATE VIEW comeback AS SELECT * FROM c2"),
    ("view setting", "DROP TABLE setting", "CREATE VIEW setting AS SELECT 'timezone' AS name, 'UTC' AS value"),
    ("type mood", "CREATE TYPE mood AS ENUM ('good', 'bad')"),
    ("type money", "CREATE TYPE money AS DOUBLE"),
    ("sequence s", "CREATE SEQUENCE s"),
    ("schema other", "CREATE SCHEMA other"),
    ("schema information", "CREATE SCHEMA information", "CREATE TABLE information.reading AS SELECT * FROM reading"),
    ("index on_note", "CREATE INDEX on_note ON reading (note)"),
    ("index on_length", "CREATE INDEX on_length ON reading (length(said))"),
    ("job.extra", "ALTER TABLE job ADD COLUMN extra VARCHAR DEFAULT 'x'"),
    ("part.price", "ALTER TABLE part ADD COLUMN price DOUBLE"),
    ("person.role", "ALTER TABLE person ALTER role SET DEFAULT 'manager'"),
    ("table notes", "CREATE TABLE notes (a INTEGER)"),
    ("table READING_2", "CREATE TABLE READING_2 AS SELECT * FROM reading"),
    ("table comeback is missing", "DROP TABLE comeback"),
    ("table entry_digest is missing", "DROP TABLE entry_digest"),
    ("table setting is missing", "DROP TABLE setting"),
    ("table person is missing", "ALTER TABLE person RENAME TO persons"),
    ("table reading is missing", "ALTER TABLE reading RENAME TO readings"),
    ("table sign_on is missing", "DROP TABLE sign_on"),
    ("reading.note is missing", "ALTER TABLE reading DROP COLUMN note"),
    ("reading.note is missing", "ALTER TABLE reading RENAME note TO remark"),
    ("part.lot is BLOB", "ALTER TABLE part ALTER lot TYPE BLOB USING lot::BLOB"),
    ("comeback.hours is FLOAT", "ALTER TABLE comeback ALTER hours TYPE FLOAT"),
    ("comeback.hours is VARCHAR", "ALTER TABLE comeback ALTER hours TYPE VARCHAR"),
    ("shim_size.layer is INTEGER", "ALTER TABLE shim_size ALTER layer TYPE INTEGER"),
    ("setting.value may be empty", "ALTER TABLE setting ALTER value DROP NOT NULL"),
    ("strike.person may be empty", "ALTER TABLE strike ALTER person DROP NOT NULL"),
    ("schema step", "DELETE FROM migration WHERE number = (SELECT max(number) FROM migration)"),
    ("schema step", "DELETE FROM migration WHERE number > 3"),
    ("gap", "DELETE FROM migration WHERE number = 3"),
    ("schema step", "DELETE FROM migration"),
    ("not a qclog log", "DROP TABLE migration"),
    ("newer qclog", "INSERT INTO migration VALUES (999, 'x', 'x', now()::TIMESTAMP)"),
    ("not a qclog log", "ALTER TABLE migration DROP COLUMN checksum"),
]  # fmt: skip
EDITS = [(f"macro {name}", sql) for name, sql in MACROS] + OTHERS


@pytest.mark.parametrize("edit", EDITS, ids=[e[1][:60] for e in EDITS])
def test_every_edit_of_the_schema_is_named_at_opening(log: Log, edit: tuple[str, ...]) -> None:
    named, *statements = edit
    try:
        alter(log, *statements)
    except duckdb.Error as error:  # this DuckDB lets nobody do it
        assert any(words in str(error) for words in ("depend", "not support", "Cannot", "already exists")), error
        return
    before = log.path.read_bytes()
    for use in (lambda: verify(log), lambda: people.add_person(log, Person("Birch", "technician"), submission())):
        with pytest.raises(LogError) as raised:
            use()
        assert named in str(raised.value)
    assert log.path.read_bytes() == before
    assert not list(log.path.parent.glob("*before-step*"))


def test_there_are_sixty_kinds_of_edits() -> None:
    assert len(EDITS) >= 60


@pytest.mark.parametrize(("named", "sql"), MACROS, ids=[m[0] for m in MACROS])
def test_what_is_built_in_is_found_before_a_macro_of_the_file(
    log: Log, monkeypatch: pytest.MonkeyPatch, named: str, sql: str
) -> None:
    """The second wall: even if a macro were not seen at opening, it would change nothing that is shown."""
    with log.reading() as use:
        jobs, counts = use.rows("jobs_all", stored.Job), use.rows("counts", stored.Counts)
    digest = verify(log).digest
    alter(log, sql)
    monkeypatch.setattr(contents, "look", lambda _connection, _path: None)
    with log.reading() as use:
        assert use.rows("jobs_all", stored.Job) == jobs, named
        assert use.rows("counts", stored.Counts) == counts
    report = verify(log)
    assert report.sound
    assert report.digest == digest


def test_no_file_of_the_machine_can_be_reached(log: Log, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("a\n1\n")
    for query in (
        f"SELECT * FROM read_text('{tmp_path}/secret.csv')",  # noqa: S608 - what must not work
        f"SELECT * FROM '{tmp_path}/secret.csv'",  # noqa: S608
        f"ATTACH '{tmp_path}/other.duckdb' AS other",
        f"COPY (SELECT 1) TO '{tmp_path}/out.csv'",
        "SET enable_external_access = true",
    ):
        with log.reading() as use, pytest.raises(duckdb.Error):
            use.connection.execute(query)
    assert sorted(f.name for f in tmp_path.iterdir() if "lock" not in f.name) == ["secret.csv", "shop.duckdb"]


def test_a_name_of_python_is_never_taken_for_a_table(log: Log) -> None:
    somewhere = [1]
    with log.reading() as use, pytest.raises(duckdb.CatalogException):
        use.connection.execute("SELECT * FROM somewhere")
    assert somewhere


def test_a_file_that_another_changed_since_is_looked_at_again(log: Log) -> None:
    """What this process left as it was is looked through once; any change by others, however small, is seen."""
    assert verify(log).sound
    alter(log, "CREATE MACRO odd(a) AS 'hidden'")
    with pytest.raises(LogDamagedError, match="macro odd"):
        verify(log)
    alter(log, "DROP MACRO odd")
    assert verify(log).sound


def test_a_foreign_backup_is_looked_at_before_anything_of_it_is_used(log: Log, tmp_path: Path) -> None:
    kept = backup.back_up(log, tmp_path / "copy.duckdb", datetime.now(UTC))
    alter(Log(kept.path), "CREATE MACRO hash(r) AS 0", "CREATE VIEW extra AS SELECT 1")
    before = kept.path.read_bytes()
    with pytest.raises(LogDamagedError, match=r"macro hash; view extra") as raised:
        backup.restore(kept.path, Log(tmp_path / "again.duckdb"))
    assert raised.value.found == kept.path
    assert not (tmp_path / "again.duckdb").exists()
    assert kept.path.read_bytes() == before


def test_the_terminal_says_it_in_one_line(log: Log) -> None:
    alter(log, "CREATE MACRO max(x) AS 0", "CREATE VIEW person_now AS SELECT 1")
    for command in (["verify"], ["job", "list"], ["backup", str(log.path.parent / "b.duckdb")]):
        done = subprocess.run(
            [sys.executable, "-m", "qclog", *command, "--log", str(log.path)],
            capture_output=True,
            text=True,
            check=False,
            cwd=ROOT,
        )
        assert done.returncode == 1
        assert "macro max; view person_now" in done.stderr
        assert "Traceback" not in done.stderr
    assert not (log.path.parent / "b.duckdb").exists()


def test_the_columns_written_down_are_those_of_the_schema() -> None:
    with duckdb.connect(":memory:") as fresh:
        migrations.create(fresh)
        assert contents.columns_in(fresh) == contents.columns_of_a_log()


def test_a_write_ahead_file_that_cannot_be_read_is_told_and_kept(log: Log, tmp_path: Path) -> None:
    """DuckDB drops it without a word when its beginning is not what it expects."""
    wal = crash_after_a_commit(log)
    whole, at_rest = tmp_path / "whole", wal.read_bytes()
    whole.mkdir()
    for file in (log.path, wal):
        shutil.copy(file, whole)
    wal.write_bytes(b"\xff" + at_rest[1:])
    told: list[str] = []
    with told_to(told.append), log.reading() as use:
        assert "Birch" not in {row.person for row in use.rows("people", stored.Person)}
    (kept,) = unread_beside(log.path)
    assert len(told) == 1
    assert kept in told[0]
    assert "nothing could be read" in told[0]
    assert (log.path.parent / kept).read_bytes() == b"\xff" + at_rest[1:]
    assert any(kept in str(remark.rows) for remark in verify(log).remarks)


def test_a_write_ahead_file_that_can_be_read_is_taken_in_without_a_word(log: Log) -> None:
    crash_after_a_commit(log)
    told: list[str] = []
    with told_to(told.append), log.reading() as use:
        assert "Birch" in {row.person for row in use.rows("people", stored.Person)}
    assert told == []
    assert unread_beside(log.path) == []
    assert not list(log.path.parent.glob(".alone-*"))


def crash_after_a_commit(log: Log) -> Path:
    """What a crash leaves just after something was stored; the write-ahead file."""
    crash = "import duckdb, os, sys; c = duckdb.connect(sys.argv[1]); c.execute(sys.argv[2]); os._exit(9)"
    added = (
        "BEGIN; INSERT INTO entry VALUES (6, uuidv7(), now()::TIMESTAMP, 'Ash', 'bench', 'x');"
        "INSERT INTO person VALUES ('Birch', 'technician', 6); COMMIT"
    )
    subprocess.run([sys.executable, "-c", crash, str(log.path), added], check=False)
    wal = Path(f"{log.path}.wal")
    assert wal.stat().st_size > 0
    return wal
