"""`qclog findings note`, `show`, `--all` and `qclog change`, as a manager meets them."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.domain.findings import Note
from qclog.store.findings import add_note
from qclog.store.log import Log
from tests.conftest import submission
from tests.workshop_with_a_batch import START, add_units

ID = "odd-machining-machining_batch-M09"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setenv("QCLOG_PERSON", "Heron")
    return log


def say(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 0
    return capsys.readouterr().out


def refuse(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 2
    return capsys.readouterr().err


def ids(capsys: pytest.CaptureFixture[str]) -> set[str]:
    return {f["id"] for f in json.loads(say(capsys, "findings", "--json"))}


def test_a_closed_finding_goes_behind_a_line(capsys: pytest.CaptureFixture[str], shop: Log) -> None:
    assert ID in ids(capsys)
    assert f"id: {ID}" in say(capsys, "findings")
    out = say(capsys, "findings", "note", "M09", "closed", "--found", "bar set deep", "--done", "set again")
    assert out.startswith(f"{ID}: closed, says Heron\nIt opens again by itself")
    listed = say(capsys, "findings")
    assert "M09" not in listed
    assert "1 closed (--all shows them)" in listed
    assert "found: bar set deep; done: set again" in say(capsys, "findings", "--all")
    assert ID not in ids(capsys)
    assert shop.exists()


def test_looked_into_stands_with_what_was_said(capsys: pytest.CaptureFixture[str], shop: Log) -> None:
    say(capsys, "findings", "note", ID, "looked-into", "--found", "three measured bare: deep", "--by", "Ash")
    assert ID in ids(capsys)
    assert "looked into, says Ash" in say(capsys, "findings")
    story = say(capsys, "findings", "show", "M09", "--log", str(shop.path))
    assert "three measured bare: deep" in story
    assert "jobs: K-040, K-041" in story


def test_one_that_came_back_says_so(capsys: pytest.CaptureFixture[str], shop: Log, tmp_path: Path) -> None:
    with shop.writing(submission()) as use:
        add_note(use, Note(ID, "closed", "Heron", START + timedelta(days=70), "bar set deep", "set again"))
    assert ID not in ids(capsys)
    add_units(shop, tmp_path / "more", 80, 3, batch="M09", high=6.0)
    assert ID in ids(capsys)
    assert "opened again: 3 units since then show the same: K-080, K-081, K-082" in say(capsys, "findings")


def test_a_rejected_one_is_shown_with_who_and_why(capsys: pytest.CaptureFixture[str], shop: Log) -> None:
    assert "what was found" in refuse(capsys, "findings", "note", "M09", "rejected")
    say(capsys, "findings", "note", "M09", "rejected", "--found", "made so on purpose")
    assert ID not in ids(capsys)
    assert "1 rejected (--all" in say(capsys, "findings")
    out = say(capsys, "findings", "--all")
    assert "rejected, says Heron" in out
    assert "made so on purpose" in out
    assert shop.exists()


def test_a_log_named_before_the_action_is_the_one_used(
    capsys: pytest.CaptureFixture[str], shop: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QCLOG_LOG", "elsewhere.duckdb")
    assert ID in say(capsys, "findings", "--log", str(shop.path), "show", "M09")


def test_bad_words_are_told(capsys: pytest.CaptureFixture[str], shop: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "no finding is called that" in refuse(capsys, "findings", "show", "M77")
    monkeypatch.delenv("QCLOG_PERSON")
    assert "say who" in refuse(capsys, "findings", "note", "M09", "open")
    with pytest.raises(SystemExit):
        main(["findings", "note", "M09", "shut"])
    assert shop.exists()


def test_changes_are_recorded_and_listed(capsys: pytest.CaptureFixture[str], shop: Log) -> None:
    assert "no changes recorded" in say(capsys, "change", "list")
    about = ("--case-type", "MR-1", "--characteristic", "trial_pack", "--since", "2026-03-26", "--note", "new bar")
    out = say(capsys, "change", "add", "new setup", *about)
    assert out == (
        "new setup: new bar, since 2026-03-26 00:00: limits and the watch start afresh from then, the old ones stay\n"
    )
    say(capsys, "change", "add", "gauge-reset", "--gauge", "MC-1")
    listed = say(capsys, "change", "list").splitlines()
    assert "MR-1 trial_pack" in listed[1]
    assert listed[1].startswith("2026-03-26 00:00")
    assert "gauge MC-1" in listed[2]
    assert "about one thing" in refuse(capsys, "change", "add", "other", "--gauge", "MC-1", "--lot", "B-1")
    assert "say what changed" in refuse(capsys, "change", "add", "other")
    assert "MC-9" in refuse(capsys, "change", "add", "other", "--gauge", "MC-9")
    assert shop.exists()
