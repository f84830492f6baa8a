"""Findings are kept for the log exactly as it is, and never shown for another."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from qclog import version
from qclog.domain.findings import Note
from qclog.domain.moments import now
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.services.keeping import sheets
from qclog.services.watch import finding_life, findings_kept
from qclog.services.watch.finding_life import Watched
from qclog.store import log as log_module
from qclog.store.findings import add_note
from qclog.store.log import Log
from qclog.watch import findings as watch_findings
from tests.conftest import SHEET, submission
from tests.services.watch.test_findings_life import ID, close_on, state
from tests.workshop_with_a_batch import START, add_units


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Log:
    folder = tmp_path_factory.mktemp("made")
    log = Log(folder / "shop.duckdb")
    add_units(log, folder / "first", 0, 60)
    close_on(log, START + timedelta(days=70))
    add_units(log, folder / "second", 80, 3, batch="M09", high=6.0)
    return log


@pytest.fixture
def shop(made: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    """A workshop with a fault that was closed and has come back; and a cache folder of its own."""
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "cache"))
    monkeypatch.setenv("HOME", str(tmp_path))
    return Log(Path(shutil.copy(made.path, tmp_path / "shop.duckdb")))


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one each time the watch is worked out."""
    times: list[int] = []
    real = watch_findings.find

    def find(*looked_at: Any) -> object:
        times.append(1)
        return real(*looked_at)

    monkeypatch.setattr(watch_findings, "find", find)
    return times


def kept_file() -> Path:
    (file,) = findings_kept.folder().glob("*.json")
    return file


def same(one: Watched, two: Watched) -> bool:
    return one.followed == two.followed and one.observations.rows.equals(two.observations.rows)


def test_what_was_found_is_not_worked_out_again_and_is_the_same(shop: Log, worked_out: list[int]) -> None:
    first = finding_life.watch(shop)
    again = finding_life.watch(shop)
    assert len(worked_out) == 1
    assert first.standing
    assert state(shop).returned
    assert same(first, again)


def test_reading_the_log_leaves_its_file_as_it_is(shop: Log) -> None:
    before = hashlib.sha256(shop.path.read_bytes()).digest(), shop.path.stat().st_mtime_ns
    finding_life.watch(shop)
    finding_life.watch(shop)
    assert (hashlib.sha256(shop.path.read_bytes()).digest(), shop.path.stat().st_mtime_ns) == before
    assert {f.name for f in shop.path.parent.glob("shop*")} <= {"shop.duckdb", "shop.duckdb.lock"}


def test_anything_stored_is_looked_at_anew(shop: Log, worked_out: list[int], tmp_path: Path) -> None:
    finding_life.watch(shop)
    with shop.writing(submission()) as use:
        add_note(use, Note(ID, "looked into", "Heron", now()))
    assert state(shop).notes[-1].state == "looked into"
    add_units(shop, tmp_path / "third", 90, 2)
    finding_life.watch(shop)
    assert len(worked_out) == 3


def test_a_change_made_past_qclog_is_looked_at_anew(shop: Log, worked_out: list[int]) -> None:
    finding_life.watch(shop)
    with duckdb.connect(str(shop.path)) as connection:
        connection.execute("UPDATE reading SET low = low + 1, high = high + 1 WHERE job = 'K-003'")
    finding_life.watch(shop)
    assert len(worked_out) == 2


def test_a_sheet_that_comes_into_force_is_looked_at_with(
    shop: Log, worked_out: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    later = now() + timedelta(days=40)
    changed = SHEET.replace('version = "1"', f'version = "2"\nin_force = {later - timedelta(days=5):%Y-%m-%d}')
    sheets.add(shop, read_sheet(changed), submission("sheet"))
    finding_life.watch(shop)
    finding_life.watch(shop)
    assert len(worked_out) == 1
    for module in (log_module, sheets):
        monkeypatch.setattr(module, "now", lambda: later)
    finding_life.watch(shop)
    assert len(worked_out) == 2


def cut_short(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-40])


def one_letter(file: Path) -> None:
    file.write_text(file.read_text(encoding="utf-8").replace("M09", "M08"), encoding="utf-8")


def emptied(file: Path) -> None:
    file.write_bytes(b"")


def not_text(file: Path) -> None:
    file.write_bytes(b"\xff\xfe" * 100)


def other_fields(file: Path) -> None:
    key = file.read_text(encoding="utf-8").split("\n")[0]
    body = '{"findings": [{"id": "x"}], "returned": {}}'
    file.write_text("\n".join((key, hashlib.sha256(body.encode()).hexdigest(), body)), encoding="utf-8")


def a_folder(file: Path) -> None:
    file.unlink()
    (file / "x").mkdir(parents=True)


@pytest.mark.parametrize("damage", [cut_short, one_letter, emptied, not_text, other_fields, a_folder])
def test_what_is_damaged_is_not_used(shop: Log, worked_out: list[int], damage: Callable[[Path], None]) -> None:
    first = finding_life.watch(shop)
    damage(kept_file())
    assert same(finding_life.watch(shop), first)
    assert len(worked_out) == 2


def test_what_another_qclog_found_is_not_used(
    shop: Log, worked_out: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    finding_life.watch(shop)
    monkeypatch.setattr(version, "__version__", "99.0")
    finding_life.watch(shop)
    monkeypatch.setattr(findings_kept, "_code", lambda: [("watch/search.py", 1, 2)])
    finding_life.watch(shop)
    assert len(worked_out) == 3


def test_a_copy_of_the_log_has_its_own(shop: Log, worked_out: list[int], tmp_path: Path) -> None:
    finding_life.watch(shop)
    finding_life.watch(Log(Path(shutil.copy2(shop.path, tmp_path / "other.duckdb"))))
    assert len(worked_out) == 2


def test_where_nothing_can_be_kept_findings_are_worked_out(
    shop: Log, worked_out: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "cache").write_text("a file where the folder would be")
    assert finding_life.watch(shop).standing

    def no_home() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(findings_kept, "folder", no_home)
    assert finding_life.watch(shop).standing
    assert len(worked_out) == 2


def test_the_kept_are_for_this_account_only_and_do_not_grow_without_end(shop: Log) -> None:
    finding_life.watch(shop)
    if hasattr(kept_file().stat(), "st_uid"):
        assert kept_file().stat().st_mode & 0o077 == 0
    for number in range(30):
        (findings_kept.folder() / f"{number}.json").write_text("")
        (findings_kept.folder() / f"{number}.raised").write_text("")
    with shop.writing(submission()):
        pass
    finding_life.watch(shop)
    files = list(findings_kept.folder().iterdir())
    assert len(files) == 2 * findings_kept.MOST_LOGS
    assert findings_kept.file_of(shop) in files
