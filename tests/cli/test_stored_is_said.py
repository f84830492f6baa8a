"""What is stored is said to be stored, whatever comes between the store and its answer."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.errors import LogError
from qclog.services.jobs import jobs
from qclog.services.series import history
from qclog.store.log import Log
from tests.busy import Another, another_process
from tests.conftest import SHEET, write_folder

READ = ["read", "J-1", "stand_off", "19/20", "--position", "12"]
READ_BACK = "nineteen goes, twenty does not"


@pytest.fixture
def shop(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    """The log of the fixture, found by the commands, with Ash at the bench and no patience."""
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setenv("QCLOG_PERSON", "Ash")
    monkeypatch.setattr(Log.__init__, "__defaults__", (0.3, None))
    return log


def readings(log: Log) -> list[str]:
    """What is said in job J-1."""
    return [r.row.said for r in jobs.tell(log, "J-1").readings]


@pytest.fixture
def another() -> Iterator[Another]:
    """Another process that is about to take the log."""
    with another_process() as process:
        yield process


def test_a_reading_is_answered_though_the_log_is_taken_right_after_it(
    shop: Log, another: Another, capsys: pytest.CaptureFixture[str]
) -> None:
    another.wait_for_an_entry()
    assert main(READ) == 0
    assert READ_BACK in capsys.readouterr().out
    another.let_go()
    assert readings(shop) == ["19/20"]


def test_a_correction_is_answered_though_the_log_is_taken_right_after_it(
    shop: Log, another: Another, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(READ) == 0
    another.wait_for_an_entry()
    again = ["read", "J-1", "stand_off", "18/19", "--position", "12", "--correct", "1", "--reason", "mistyped"]
    assert main(again) == 0
    assert "eighteen goes" in capsys.readouterr().out
    another.let_go()
    assert readings(shop) == ["19/20", "18/19"]


def test_a_guided_run_answers_though_the_log_is_taken_right_after_a_reading(
    shop: Log,
    another: Another,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    another.wait_for_an_entry()
    monkeypatch.setattr(sys, "stdin", io.StringIO("40\nquit\n"))
    assert main(["read", "J-1"]) == 0
    out = capsys.readouterr().out
    assert "forty" in out
    assert "stored" in out.splitlines()[-1]
    another.let_go()
    assert readings(shop) == ["40"]


@pytest.mark.parametrize("failure", [LogError("the disk is gone"), RuntimeError("a fault of ours")])
def test_an_answer_that_fails_says_that_the_reading_is_stored(
    shop: Log, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], failure: Exception
) -> None:
    def fail(*_: object) -> str:
        raise failure

    monkeypatch.setattr(history, "standing", fail)
    assert main(READ) == 0
    out = capsys.readouterr().out
    assert READ_BACK in out
    assert "It is stored" in out
    assert str(failure) in out
    assert readings(shop) == ["19/20"]


def test_ctrl_c_between_the_store_and_its_answer_says_that_the_reading_is_stored(
    shop: Log, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(history, "standing", stop)
    assert main(READ) == 130
    assert READ_BACK in capsys.readouterr().out
    assert readings(shop) == ["19/20"]


STORING = {
    "gauge add FG-2 --kind dial --unit thou --step 1": "FG-2 is in the log",
    "gauge record FG-1 dropped": "dropped recorded",
    "job open J-2 MR-1": "job J-2 is open",
    "job set J-1 casting C-7": "casting is now C-7",
    "job part J-1 bearing --lot B-1": "bearing added",
    "job comeback J-1": "comeback recorded",
    "stock add thou 3 --count 10": "10 there now",
    "stock count thou 5 --count 18": "18 counted",
    "stock take thou 5+5 --job J-1": "booked out",
    "stock minimum thou 5 4": "at least 4 from now on",
    "change add other --case-type MR-1 --note new": "since",
    "person add Elm": "Elm is in the log",
    "person role Heron inspector": "Heron is inspector",
    "person left Heron": "Heron has left",
    "sheet add {sheet}": "version 2",
    "import {folder}": "added",
}


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("command", STORING)
def test_what_a_command_stored_is_said_though_the_log_is_taken_right_after_it(
    another: Another, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET.replace('version = "1"', 'version = "2"'), encoding="utf-8")
    folder = write_folder(tmp_path / "folder", people="person,role\nElm,technician\n")
    if command.startswith("stock") and "add" not in command:
        assert main(["stock", "add", "thou", "5", "--count", "20"]) == 0
    another.wait_for_an_entry()
    assert main(command.format(sheet=sheet, folder=folder).split()) == 0
    assert another.has_it
    assert STORING[command] in capsys.readouterr().out


def test_the_sample_workshop_is_said_to_be_built_though_its_chart_cannot_be_shown(
    another: Another, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(Log.__init__, "__defaults__", (0.3, None))
    another.wait_for_an_entry()
    assert main(["demo", "--no-dashboard", "--log", str(tmp_path / "demo.duckdb")]) == 0
    assert another.has_it
    said = capsys.readouterr().out
    assert "The sample workshop is built" in said
    assert "in use by another program" in said
