"""What is stored is said to be stored, whatever comes between the store and its answer."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID

import pytest

from qclog.cli import main
from qclog.errors import LogError
from qclog.services.jobs import jobs
from qclog.services.series import history
from qclog.store import lock, records
from qclog.store.log import Log, Use

HOLDER = """\
import sys, filelock
with filelock.FileLock(sys.argv[1]):
    print("held", flush=True)
    sys.stdin.read()
"""
READ = ["read", "J-1", "stand_off", "19/20", "--position", "12"]
READ_BACK = "nineteen goes, twenty does not"


@pytest.fixture
def shop(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    """The log of the fixture, found by the commands, with Ash at the bench and no patience."""
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setenv("QCLOG_PERSON", "Ash")
    monkeypatch.setattr(Log.__init__, "__defaults__", (0.3,))
    return log


def readings(log: Log) -> list[str]:
    """What is said in job J-1."""
    return [r.row["said"] for r in jobs.tell(log, "J-1").readings]


class Another:
    """Another process, which has the log from the next reading stored until it lets it go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.patch = monkeypatch
        self.process: subprocess.Popen[str] | None = None
        self.stored = False

    def wait_for_a_reading(self) -> None:
        """Take the log when it is next let go after a reading was added."""
        adding, holding = records.add_reading, lock.holding

        def add_reading(use: Use, new: records.NewReading) -> tuple[UUID, int]:
            self.stored = True
            return adding(use, new)

        @contextmanager
        def watched(path: Path, patience: float) -> Iterator[None]:
            with holding(path, patience):
                yield
            if self.stored and self.process is None:
                command = [sys.executable, "-c", HOLDER, f"{path}.lock"]
                self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
                assert self.process.stdout is not None
                assert self.process.stdout.readline() == "held\n"

        self.patch.setattr(records, "add_reading", add_reading)
        self.patch.setattr(lock, "holding", watched)

    def let_go(self) -> None:
        """Let go of the log."""
        if self.process is not None:
            self.process.communicate()


@pytest.fixture
def another(monkeypatch: pytest.MonkeyPatch) -> Iterator[Another]:
    """Another process that is about to take the log."""
    process = Another(monkeypatch)
    yield process
    process.let_go()


def test_a_reading_is_answered_though_the_log_is_taken_right_after_it(
    shop: Log, another: Another, capsys: pytest.CaptureFixture[str]
) -> None:
    another.wait_for_a_reading()
    assert main(READ) == 0
    assert READ_BACK in capsys.readouterr().out
    another.let_go()
    assert readings(shop) == ["19/20"]


def test_a_correction_is_answered_though_the_log_is_taken_right_after_it(
    shop: Log, another: Another, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(READ) == 0
    another.wait_for_a_reading()
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
    another.wait_for_a_reading()
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
