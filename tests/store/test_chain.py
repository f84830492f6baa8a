"""A record that shows tampering: whatever a database tool changes in the file, `verify` names the entry.

The faults are made with DuckDB itself, outside qclog. Digests are worked out a second time here, from the form that
domain/digests.py describes, with SHA-256 of the standard library (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
import shutil
import struct
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qclog.domain import digests
from qclog.domain.jobs import Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.errors import InputError, UnknownNameError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import people, verifying
from qclog.store import chain
from qclog.store.log import Log
from tests.conftest import make_log, submission


def alter(log: Log, *statements: str) -> None:
    """What a database tool would do."""
    with duckdb.connect(str(log.path)) as raw:
        for statement in statements:
            raw.execute(statement)


def read(log: Log, text: str, position: str = "12") -> None:
    capture.take(log, Place("J-1", "stand_off", "trial", position), text, Circumstances("Ash", "FG-1"), submission("r"))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Entries 1 to 5 of `make_log`, 6 to 9 with one reading each, 10 a correction."""
    log = make_log(tmp_path_factory.mktemp("whole") / "shop.duckdb")
    for text, position in (("16", "12"), ("17", "3"), ("15/16", "6"), ("18", "9")):
        read(log, text, position)
    capture.correct(
        log,
        Place("J-1", "stand_off", "trial", "9"),
        1,
        "17",
        "mistyped",
        Circumstances("Ash"),
        submission("correction"),
    )
    assert verifying.verify(log).sound
    return log.path


@pytest.fixture
def busy(whole: Path, tmp_path: Path) -> Log:
    """A copy of `whole` to alter."""
    return Log(Path(shutil.copy(whole, tmp_path)))


TAIL = ("reading", "entry", "entry_digest")
EDITS = {
    "a value": (7, "UPDATE reading SET low = 16, high = 16 WHERE position = '3'"),
    "a value by one bit": (7, "UPDATE reading SET low = low + 4e-15, high = high + 4e-15 WHERE position = '3'"),
    "what was said": (7, "UPDATE reading SET said = '16' WHERE position = '3'"),
    "a time": (7, "UPDATE reading SET taken_at = taken_at + INTERVAL 1 MICROSECOND WHERE position = '3'"),
    "a note where there was none": (7, "UPDATE reading SET note = '' WHERE position = '3'"),
    "who entered it": (8, "UPDATE entry SET entered_by = 'Heron' WHERE entry = 8"),
    "when it was entered": (8, "UPDATE entry SET entered_at = entered_at - INTERVAL 1 DAY WHERE entry = 8"),
    "a row put in": (
        6,
        "INSERT INTO reading SELECT * REPLACE (uuidv7() AS id, 2 AS attempt) FROM reading WHERE position = '12'",
    ),
    "a row taken out": (9, "DELETE FROM reading WHERE position = '9' AND attempt = 1"),
    "two rows swapped": (
        6,
        "UPDATE reading SET position = CASE position WHEN '12' THEN '3x' ELSE '12' END WHERE position IN ('12', '3')",
        "UPDATE reading SET position = '3' WHERE position = '3x'",
    ),
    "two entries swapped": (6, "UPDATE reading SET entry = 13 - entry WHERE entry IN (6, 7)"),
    "a row of another table": (2, "UPDATE person SET role = 'manager' WHERE person = 'Ash'"),
    "a sheet's limits": (1, "UPDATE sheet SET text = replace(text, 'upper = 20', 'upper = 25')"),
    "the time zone": (0, "UPDATE setting SET value = 'Asia/Tokyo'"),
    "a digest": (7, "UPDATE entry_digest SET digest = repeat('0', 64) WHERE entry = 7"),
    "a digest's parts": (7, "UPDATE entry_digest SET parts = parts || 'x' WHERE entry = 7"),
    "how it came in": (7, "UPDATE entry_digest SET how = 'as found' WHERE entry = 7"),
    "a digest taken out": (7, "DELETE FROM entry_digest WHERE entry = 7"),
    "the last entry taken out": (10, "DELETE FROM reading WHERE entry = 10", "DELETE FROM entry WHERE entry = 10"),
    "an entry put in past qclog": (
        11,
        "INSERT INTO entry VALUES (11, uuidv7(), now()::TIMESTAMP, 'Ash', 'bench', 'x')",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(EDITS))
def test_every_edit_is_caught_and_its_entry_named(busy: Log, name: str) -> None:
    first, *statements = EDITS[name]
    alter(busy, *[str(s) for s in statements])
    report = verifying.verify(busy)
    assert not report.sound
    assert report.misfits[0].entry == first


def test_what_is_said_of_a_misfit(busy: Log) -> None:
    alter(busy, "UPDATE reading SET low = 16, high = 16 WHERE position = '3'")
    done = subprocess.run(
        [sys.executable, "-m", "qclog", "verify", "--log", str(busy.path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 1
    assert "entry 7 (Ash, 20" in done.stdout
    assert "r): table reading is not as it was entered (1 row)" in done.stdout
    alter(busy, "DELETE FROM reading WHERE position = '6'")
    assert [(m.entry, m.says) for m in verifying.verify(busy).misfits][1] == (
        8,
        "0 rows in table reading where 1 row came in",
    )


def test_one_edit_is_told_once_and_what_came_after_still_fits(busy: Log) -> None:
    alter(busy, "UPDATE reading SET low = 16, high = 16 WHERE position = '3'")
    assert len(verifying.verify(busy).misfits) == 1
    read(busy, "14", "3")
    assert [m.entry for m in verifying.verify(busy).misfits] == [7]


def test_a_tail_taken_out_with_its_digests_is_caught_by_what_was_written_down(busy: Log) -> None:
    """A chain alone can't show this: the day book is the witness."""
    written = verifying.short_digest(busy)
    earlier = verifying.job_digest(busy, "J-1")
    assert written.text == earlier.text
    alter(busy, *(f"DELETE FROM {table} WHERE entry = 10" for table in TAIL))  # noqa: S608 - ours
    assert verifying.verify(busy).sound
    assert verifying.find_digest(busy, written.text) is None


def rewrite(log: Log) -> None:
    """What someone would do who knows all of this and wants to hide an edit."""
    with duckdb.connect(str(log.path)) as raw:
        raw.execute("UPDATE reading SET low = 16, high = 16 WHERE position = '3'")
        raw.execute("DELETE FROM entry_digest")
        chain.begin(raw)
        raw.execute("UPDATE entry_digest SET how = 'entered'")
        rows = raw.execute("SELECT entry, parts FROM entry_digest ORDER BY entry").fetchall()
        before = ""
        for entry, parts in rows:
            before = digests.chain(before, entry, "entered", parts)
            raw.execute("UPDATE entry_digest SET digest = ? WHERE entry = ?", [before, entry])


def test_a_rewritten_chain_is_caught_by_what_was_written_down(busy: Log) -> None:
    written = verifying.short_digest(busy).text
    rewrite(busy)
    assert verifying.verify(busy).sound
    assert verifying.find_digest(busy, written) is None


def test_a_digest_written_down_stays_in_the_chain(busy: Log) -> None:
    written = verifying.short_digest(busy)
    people.add_person(busy, Person("Birch", "technician"), submission())
    found = verifying.find_digest(busy, written.text.lower().replace("-", " ").replace("0", "o"))
    assert found == written
    assert verifying.short_digest(busy).entry == written.entry + 1
    assert verifying.job_digest(busy, "J-1").entry == written.entry
    with pytest.raises(InputError, match="sixteen letters"):
        verifying.find_digest(busy, "1234")
    with pytest.raises(UnknownNameError):
        verifying.job_digest(busy, "J-99")


def test_the_terminal_confirms_what_was_written_down(busy: Log) -> None:
    written = verifying.short_digest(busy).text
    read(busy, "16")

    def ask(text: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "qclog", "verify", "--written", text, "--log", str(busy.path)]
        return subprocess.run(command, capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2])

    assert f"{written}, entry 10 of 20" in ask(written).stdout
    other = ask("0000-0000-0000-0000")
    assert other.returncode == 1
    assert "no entry has the digest" in other.stdout


def test_a_failed_entry_leaves_no_digest(busy: Log) -> None:
    with pytest.raises(ValueError, match="half"), busy.writing(submission()) as use:
        use.insert("person", person="Birch", role="technician", entry=use.entry)
        raise ValueError("half")
    assert verifying.verify(busy).sound
    assert verifying.short_digest(busy).entry == 10


def bytes_of(columns: dict[str, tuple[str, list[object]]], n: int) -> bytes:
    """The form that domain/digests.py describes, put together byte by byte."""
    whole = n.to_bytes(8, "little", signed=True)
    for name, (kind, values) in sorted(columns.items()):
        if any(v is not None for v in values):
            whole += name.encode() + b"\0" + kind.encode()
            for value in values:
                whole += b"\0" if value is None else b"\1"
            for value in values:
                if kind == "text":
                    whole += len(b"" if value is None else str(value).encode()).to_bytes(8, "little")
                elif kind == "whole":
                    whole += int(value or 0).to_bytes(8, "little", signed=True)  # type: ignore[call-overload]
                else:
                    whole += struct.pack("<d", value or 0.0)
            if kind == "text":
                whole += b"".join(b"" if v is None else str(v).encode() for v in values)
    return whole


texts = st.lists(st.none() | st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=5)
VALUES = {
    "text": st.none() | st.text(st.characters(exclude_categories=["Cs"]), max_size=9),
    "whole": st.none() | st.integers(-(2**63), 2**63 - 1),
    "real": st.none() | st.floats(allow_nan=False, allow_infinity=False).filter(lambda v: v != 0 or str(v) == "0.0"),
}


@settings(max_examples=150, deadline=None)
@given(st.data(), st.integers(1, 6), st.sampled_from([1, 60]))
def test_rows_and_columns_give_the_digest_that_is_described(data: st.DataObject, n: int, times: int) -> None:
    columns: dict[str, tuple[str, list[Any]]] = {}
    for name in data.draw(st.sets(st.sampled_from("abcé"), min_size=1)):
        kind = data.draw(st.sampled_from(["text", "whole", "real"]))
        columns[name] = (kind, data.draw(st.lists(VALUES[kind], min_size=n, max_size=n)) * times)
    expected = hashlib.sha256(bytes_of(columns, n * times)).hexdigest()
    assert digests.digest_rows(columns, n * times) == expected  # type: ignore[arg-type]
    types = {"text": pl.String, "whole": pl.Int64, "real": pl.Float64}
    frame = pl.DataFrame({k: pl.Series(v, dtype=types[kind]) for k, (kind, v) in columns.items()})
    table = chain._Table("t", "", tuple((k, kind) for k, (kind, _) in columns.items()), ())  # type: ignore[misc]
    assert chain._digest(table, frame) == expected


def test_rows_that_differ_only_in_where_a_text_ends_differ() -> None:
    one = digests.digest_rows({"a": ("text", ["ab", "c"])}, 2)
    other = digests.digest_rows({"a": ("text", ["a", "bc"])}, 2)
    empty = digests.digest_rows({"a": ("text", ["abc", ""])}, 2)
    none = digests.digest_rows({"a": ("text", ["abc", None])}, 2)
    assert len({one, other, empty, none}) == 4


def test_a_column_added_later_and_empty_changes_no_digest() -> None:
    assert digests.digest_rows({"a": ("whole", [1])}, 1) == digests.digest_rows(
        {"a": ("whole", [1]), "b": ("text", [None])}, 1
    )


def test_the_short_form_is_the_first_80_bits() -> None:
    """Five bits a letter, from the left, in an alphabet without the letters that are misread (base 32)."""
    assert digests.short("00" * 32) == "0000-0000-0000-0000"
    assert digests.short("ff" * 32) == "ZZZZ-ZZZZ-ZZZZ-ZZZZ"
    bits = bin(int("0123456789abcdef0123", 16))[2:].zfill(80)
    expected = "".join(digests.LETTERS[int(bits[i : i + 5], 2)] for i in range(0, 80, 5))
    assert digests.short("0123456789abcdef0123" + "0" * 44).replace("-", "") == expected


def test_a_large_import_and_what_follows_verify(tmp_path: Path, folder: Path) -> None:
    """More rows of one entry than are digested row by row."""
    with (folder / "readings.csv").open("a") as file:
        file.writelines(
            f"J-1,stand_off,trial,3,{i},{15 + i % 5},,FG-1,Ash,2026-01-05T09:00,,,\n" for i in range(1, 900)
        )
    log = Log(tmp_path / "new.duckdb")
    import_folder(log, folder, submission())
    read(log, "16")
    assert verifying.verify(log).sound
    alter(log, "UPDATE reading SET note = 'x' WHERE attempt = 450")
    assert [m.says for m in verifying.verify(log).misfits] == [
        "table reading is not as it was entered (904 rows)",
    ]


def test_every_table_with_an_entry_is_in_the_chain(busy: Log) -> None:
    """A table that a later schema brings is covered without a word about it here."""
    with busy.reading() as use:
        tables = {
            row[0]
            for row in use.connection.execute(
                "SELECT table_name FROM duckdb_columns() WHERE column_name = 'entry' AND NOT internal"
            ).fetchall()
        }
        without = {
            row[0] for row in use.connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()
        } - tables
    assert without == {"migration", "setting"}
    assert "reading" in tables


def test_tables_whose_constraints_were_taken_off_are_told(busy: Log) -> None:
    alter(
        busy,
        "CREATE TABLE loose (id UUID NOT NULL, job VARCHAR NOT NULL, returned TIMESTAMP NOT NULL, complaint VARCHAR,"
        " finding VARCHAR, attributable VARCHAR, hours DOUBLE, entry BIGINT NOT NULL)",
        "INSERT INTO loose SELECT * FROM comeback",
        "DROP TABLE comeback",
        "ALTER TABLE loose RENAME TO comeback",
    )
    (tables,) = [c for c in verifying.verify(busy).checks if c.rows]
    assert tables.name == "tables_are_as_made"
    assert any("PRIMARY KEY id" in str(row["says"]) for row in tables.rows)


@pytest.mark.parametrize(
    ("name", "statement"),
    [
        ("clock_went_back", "UPDATE entry SET entered_at = entered_at - INTERVAL 2 HOUR WHERE entry = 8"),
        ("taken_after_it_was_entered", "UPDATE reading SET taken_at = taken_at + INTERVAL 1 HOUR WHERE entry = 8"),
        ("entered_late", "UPDATE reading SET taken_at = taken_at - INTERVAL 3 DAY WHERE entry = 8"),
    ],
)
def test_clocks_that_were_wrong_are_remarked_and_are_no_fault(busy: Log, name: str, statement: str) -> None:
    """Both times are kept, and the order is that of the entries. (The edit itself is a misfit; the remark is not.)"""
    assert not any(remark.rows for remark in verifying.verify(busy).remarks)
    alter(busy, statement)
    report = verifying.verify(busy)
    found = {r.name: [row["entry"] for row in r.rows] for r in report.remarks if r.rows}
    assert found[name] == [8]
    assert not any(c.rows for c in report.checks)


def test_a_late_reading_is_stored_and_remarked(log: Log) -> None:
    how = Circumstances("Ash", "FG-1", taken_at=now() - timedelta(days=3))
    capture.take(log, Place("J-1", "stand_off", "trial", "12"), "16", how, submission("late"))
    report = verifying.verify(log)
    assert report.sound
    assert [r.name for r in report.remarks if r.rows] == ["entered_late"]
