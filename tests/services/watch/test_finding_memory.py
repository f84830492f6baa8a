"""When a finding was first raised is remembered from look to look, and only where the log is still the same."""

from __future__ import annotations

import json
import shutil
from datetime import datetime
from pathlib import Path

import duckdb
import pytest

from qclog.cli import main
from qclog.services.jobs import claims
from qclog.services.watch import finding_life, finding_memory
from qclog.store.log import Log
from tests.conftest import submission
from tests.services.watch.test_findings_life import ID
from tests.workshop_with_a_batch import add_units


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "cache"))
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


def grow(log: Log, folder: Path) -> dict[str, tuple[str, datetime, str]]:
    """A workshop looked at as it grows; when and how each finding was first raised."""
    add_units(log, folder / "sound", 0, 30)
    finding_life.watch(log)
    add_units(log, folder / "odd", 30, 8, batch="M77", high=6.0)
    return {f.id: (f.found_at_job, f.found_at, f.raised) for f in finding_life.watch(log).standing}


def test_what_was_raised_while_someone_watched_stays_raised_then(home: Path) -> None:
    log = Log(home / "shop.duckdb")
    raised = grow(log, home)
    name = next(n for n in raised if "M77" in n)
    assert raised[name][2] == "watched"
    add_units(log, home / "more", 50, 20)
    later = {f.id: (f.found_at_job, f.found_at, f.raised) for f in finding_life.watch(log).standing}
    assert later[name] == raised[name]


def test_a_log_never_watched_is_guessed_until_it_is_replayed(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = Log(home / "shop.duckdb")
    add_units(log, home / "first", 0, 60)
    guessed = next(f for f in finding_life.watch(log).standing if f.id == ID)
    assert guessed.raised == "guessed"
    assert "plain from about job" in _told(capsys, log, "findings")
    replayed = next(f for f in json.loads(_told(capsys, log, "findings", "--replay", "--json")) if f["id"] == ID)
    assert replayed["found_at_is"] == "replayed"
    assert replayed["found_at_job"] in {f"K-{n:03}" for n in range(60)}
    again = next(f for f in json.loads(_told(capsys, log, "findings", "--json")) if f["id"] == ID)
    assert again == replayed
    assert "plain from job" in _told(capsys, log, "findings")


def _told(capsys: pytest.CaptureFixture[str], log: Log, *words: str) -> str:
    assert main([*words, "--log", str(log.path)]) == 0
    return capsys.readouterr().out


def test_memory_of_another_past_is_not_believed(home: Path) -> None:
    log = Log(home / "shop.duckdb")
    grow(log, home)
    with duckdb.connect(str(log.path)) as connection:
        connection.execute(
            "UPDATE entry_digest SET digest = repeat('0', 64) WHERE entry = (SELECT max(entry) FROM entry)"
        )
    with log.reading() as use:
        assert finding_memory.load(log, use) is None
    log.path.unlink()
    add_units(log, home / "other", 0, 60)
    with log.reading() as use:
        assert finding_memory.load(log, use) is None


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"entry": "x", "digest": 1, "values": 2, "raised": {}}', "\x00"])
def test_a_damaged_memory_is_none(home: Path, text: str) -> None:
    log = Log(home / "shop.duckdb")
    grow(log, home)
    (file,) = (home / "cache" / "qclog" / "findings").glob("*.raised")
    file.write_text(text, encoding="utf-8")
    with log.reading() as use:
        assert finding_memory.load(log, use) is None
    assert finding_life.watch(log).standing


def test_where_nothing_can_be_kept_it_is_guessed(home: Path) -> None:
    (home / "cache").write_text("a file where the folder would be")
    log = Log(home / "shop.duckdb")
    assert {how for _, _, how in grow(log, home).values()} == {"guessed"}


def test_the_house_sets_how_many_false_findings_may_stand(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = Log(home / "shop.duckdb")
    add_units(log, home / "first", 0, 60)
    with log.reading() as use:
        assert claims.false_findings(use) == 1.0
    claims.set_house(log, "rate", "false_findings", "0.2", submission())
    with log.reading() as use:
        assert claims.false_findings(use) == 0.2
    assert main(["house", "set", "rate", "false_findings", "many", "--log", str(log.path), "--by", "Heron"]) == 2
    err = capsys.readouterr().err
    assert "false_findings" in err
    assert "0.05 to 10" in err


def test_what_is_too_weak_is_told_apart(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = Log(home / "shop.duckdb")
    shutil.copytree(Path("sample_data"), home / "sample")
    assert main(["init", "--log", str(log.path), "--timezone", "Europe/London"]) == 0
    assert main(["import", str(home / "sample"), "--log", str(log.path), "--by", "Heron"]) == 0
    capsys.readouterr()
    standing = json.loads(_told(capsys, log, "findings", "--json"))
    every = json.loads(_told(capsys, log, "findings", "--json", "--also-look"))
    weaker = [f for f in every if not f["stands"]]
    assert [f for f in every if f["stands"]] == standing
    assert weaker
    assert "Merely worth a look" in _told(capsys, log, "findings", "--also-look")
    assert f"{len(weaker)} more merely worth a look" in _told(capsys, log, "findings")
    for finding in every:
        strongest = finding["effects"][0]
        assert [finding[k] for k in ("direction", "size_sd", "size", "unit")] == [
            strongest[k] for k in ("direction", "size_sd", "size", "unit")
        ]
        assert {e["characteristic"] for e in finding["effects"]} == set(finding["characteristics"])
        assert set(strongest) == {"characteristic", "direction", "size_sd", "size", "unit", "n"}
