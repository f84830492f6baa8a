"""SQL files: each says what a row is, runs, and each check finds what it is for and nothing else."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log
from tests.conftest import submission

SQL = Path(__file__).parents[2] / "sql"


@pytest.mark.parametrize("file", sorted(SQL.rglob("*.sql")), ids=lambda f: f.stem)
def test_every_file_says_its_grain_and_is_one_statement(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.startswith("-- ")
    if file.parent.name in ("queries", "views"):
        assert any(words in text.split("\n\n")[0] for words in ("One row", "At most one row"))
    if file.parent.name in ("queries", "checks"):
        assert len(duckdb.extract_statements(text)) == 1


def test_migrations_are_numbered_without_a_gap() -> None:
    numbers = [int(f.name[:4]) for f in sorted((SQL / "migrations").glob("*.sql"))]
    assert numbers == list(range(1, len(numbers) + 1))


FAULTS = {
    "corrections_point_at_a_reading": "UPDATE reading SET attempt = 3 WHERE characteristic = 'torque';"
    "UPDATE reading SET replaces = 1, reason = 'x' WHERE characteristic = 'torque'",
    "entries_follow_on": "INSERT INTO entry VALUES (99, uuidv7(), now()::TIMESTAMP, 'x', 'terminal', 'x')",
    "jobs_have_a_sheet": "INSERT INTO job VALUES ('J-9', 'ZZ-9', now()::TIMESTAMP, 1)",
    "notes_are_by_known_people": "INSERT INTO finding_note VALUES (uuidv7(), 'gauge-gauge-FG-1', 'open', NULL,"
    " NULL, NULL, 'Nobody', now()::TIMESTAMP, 1)",
    "rows_point_at_what_is_there": "UPDATE reading SET gauge = 'FG-99' WHERE characteristic = 'trial_pack'",
    "shims_are_not_less_than_none": "INSERT INTO shim_size VALUES ('S-A', 20, 20, 'thou', NULL, 1);"
    "INSERT INTO shim_movement VALUES (uuidv7(), 'S-A', 20, 20, now()::TIMESTAMP, -1, 'scrapped', NULL, NULL, NULL, 1)",
    "readings_say_what_they_are": "UPDATE reading SET word = 'pass' WHERE characteristic = 'trial_pack'",
}


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_each_check_finds_its_fault(tmp_path: Path, folder: Path, name: str) -> None:
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    assert verify(log).sound
    with duckdb.connect(str(log.path)) as raw:
        for statement in FAULTS[name].split(";"):
            raw.execute(statement)
    bad = {c.name for c in verify(log).checks if c.rows}
    assert bad == {name}


@pytest.mark.parametrize(
    "row",
    [
        "'gauge re-set', NULL, NULL, 'gauge', 'FG-99', now()::TIMESTAMP, NULL, 'Ash'",
        "'new setup', 'ZZ-9', NULL, NULL, NULL, now()::TIMESTAMP, NULL, 'Ash'",
        "'other', NULL, NULL, 'technician', 'Nobody', now()::TIMESTAMP, NULL, 'Ash'",
        "'other', 'MR-1', NULL, NULL, NULL, now()::TIMESTAMP, NULL, 'Nobody'",
    ],
)
def test_a_change_of_what_is_not_there_is_found(tmp_path: Path, folder: Path, row: str) -> None:
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    with duckdb.connect(str(log.path)) as raw:
        raw.execute(f"INSERT INTO change VALUES (uuidv7(), {row}, 1)")  # noqa: S608 - rows of this test
    assert {c.name for c in verify(log).checks if c.rows} == {"notes_are_by_known_people"}


@pytest.mark.parametrize(
    ("of_table", "what", "statement"),
    [
        ("gauge_check", "gauge", "UPDATE gauge_check SET gauge = 'FG-99'"),
        ("job_detail", "job", "INSERT INTO job_detail VALUES (uuidv7(), 'nobody', 'variant', 'A', NULL, 1)"),
        ("part", "job", "UPDATE part SET sub_assembly = 'J-99' WHERE job = 'J-1'"),
        ("comeback", "job", "UPDATE comeback SET job = 'J-99'"),
        ("reading", "person", "UPDATE reading SET technician = 'Nobody' WHERE characteristic = 'torque'"),
        ("strike", "reading", "INSERT INTO strike VALUES (uuidv7(), uuidv7(), 'Ash', 'x', 1)"),
        ("sign_on", "person", "INSERT INTO sign_on VALUES (uuidv7(), 'Nobody', now()::TIMESTAMP, true, 1)"),
        ("person_detail", "person", "INSERT INTO person_detail VALUES (uuidv7(), 'Nobody', 'left', 'yes', 1)"),
        (
            "shim_movement",
            "shim size",
            "INSERT INTO shim_movement"
            " VALUES (uuidv7(), 'S', 1, 1, now()::TIMESTAMP, 1, 'bought', NULL, NULL, NULL, 1)",
        ),
        ("gauge_detail", "gauge", "INSERT INTO gauge_detail VALUES (uuidv7(), 'FG-99', 'tolerance', '1', 1)"),
        (
            "comeback_detail",
            "comeback",
            "INSERT INTO comeback_detail VALUES (uuidv7(), 'J-1', '2020-01-01'::TIMESTAMP, 'finding', 'x', 1)",
        ),
        ("sign_off", "job", "INSERT INTO sign_off VALUES (uuidv7(), 'J-99', 1, 'x', 1)"),
        ("house_detail", "entry", "INSERT INTO house_detail VALUES (uuidv7(), 'rate', 'labour_hour', '60', 77)"),
        ("sheet", "entry", "UPDATE sheet SET entry = 77"),
    ],
)
def test_what_a_foreign_key_would_hold_is_found(
    tmp_path: Path, folder: Path, of_table: str, what: str, statement: str
) -> None:
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission())
    with duckdb.connect(str(log.path)) as raw:
        raw.execute(statement)
    (check,) = [c for c in verify(log).checks if c.name == "rows_point_at_what_is_there"]
    assert {(row["of_table"], row["what"]) for row in check.rows} == {(of_table, what)}


def test_every_check_has_a_fault_to_find() -> None:
    assert {f.stem for f in (SQL / "checks").glob("*.sql")} == set(FAULTS)
