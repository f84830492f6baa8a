"""The command line as a newcomer meets it."""

from __future__ import annotations

import io
import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.services.jobs import jobs
from qclog.store.log import Log
from tests.conftest import SHEET


@pytest.fixture
def shop(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    """The log of the fixture, found by the commands, with Ash at the bench."""
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setenv("QCLOG_PERSON", "Ash")
    return log


def test_help_names_every_command_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["--help"])
    assert stopped.value.code == 0
    out = capsys.readouterr().out
    for command in ("demo", "dashboard", "import", "export", "read", "chart", "job", "sheet", "verify"):
        assert command in out
    assert "maker's manual" in out


def test_a_shop_is_set_up_from_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(tmp_path / "shop.duckdb"))
    monkeypatch.delenv("QCLOG_PERSON", raising=False)
    (tmp_path / "mr.toml").write_text(SHEET, encoding="utf-8")
    for command in (
        ["init", "--timezone", "Europe/London"],
        ["sheet", "check", str(tmp_path / "mr.toml")],
        ["sheet", "add", str(tmp_path / "mr.toml")],
        ["sheet", "list"],
        ["sheet", "show", "MR-1"],
        ["person", "add", "Ash"],
        ["person", "list"],
        ["gauge", "add", "FG-1", "--kind", "feeler", "--unit", "thou", "--step", "1", "--leaves", "19 20 21"],
        ["gauge", "record", "FG-1", "check", "--reference", "20", "--reading", "20", "--unit", "thou", "--by", "Ash"],
        ["gauge", "list"],
        ["job", "open", "J-1", "MR-1", "--case-serial", "S-9"],
        ["job", "part", "J-1", "bearing", "--lot", "B-7", "--condition", "new"],
        ["read", "J-1", "stand_off", "19/20", "--position", "12", "--gauge", "FG-1", "--by", "Ash"],
        ["job", "set", "J-1", "dispatched", "2026-03-01T12:00"],
        ["job", "comeback", "J-1", "--complaint", "noisy", "--attributable", "open", "--hours", "12"],
        ["job", "list", "b-7"],
        ["job", "show", "J-1"],
        ["verify"],
    ):
        assert main(command) == 0, command
    out = capsys.readouterr().out
    for said in ("inside limits", "19/20 thou", "B-7", "noisy", "sound", "nineteen goes, twenty does not"):
        assert said in out


def test_one_reading_is_read_back_with_its_verdict(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "J-1", "stand_off", "0.41", "--position", "12"]) == 0
    out = capsys.readouterr().out
    assert "BELOW 19 thou" in out
    assert "Did you mean 0.41 mm" in out
    args = ["read", "J-1", "stand_off", "0.48 mm", "--position", "12", "--correct", "1", "--reason", "mistyped"]
    assert main(args) == 0
    assert main(["read", "J-1", "stand_off", "--position", "12", "--strike", "2", "--reason", "swarf"]) == 0
    rows = [r.row for r in jobs.tell(shop, "J-1").readings]
    assert [(r.replaces, r.struck_why) for r in rows] == [(None, None), (1, "swarf")]


@pytest.mark.parametrize(
    ("command", "status", "said"),
    [
        (["read", "J-1", "stand_off", "2.5 N·m", "--position", "12"], 2, "length"),
        (["read", "J-1", "stand_off", "abc", "--position", "12"], 2, "abc"),
        (["read", "J-1", "standoff", "16"], 2, "stand_off"),
        (["read", "J-9", "stand_off", "16"], 2, "J-1"),
        (["read", "J-1", "stand_off", "16", "--position", "12", "--gauge", "FG-2"], 2, "FG-1"),
        (["read", "J-1", "stand_off", "16", "--position", "12", "--by", "Asch"], 2, "Ash"),
        (["read", "J-1", "stand_off"], 2, "what was read"),
        (["chart", "MR-9", "recess"], 2, "MR-1"),
        (["chart", "MR-1", "leak"], 2, "in words"),
        (["read", "J-1", "stand_off", "16", "--position", "12", "--taken", "noon"], 2, "this is not a time"),
        (["read", "J-1", "stand_off", "16", "--position", "12", "--taken", "2190-01-01"], 2, "later than now"),
        (["chart", "MR-1", "recess", "--out", "x.pdf"], 2, ".svg"),
        (["job", "open", "J-1", "MR-1"], 2, "job of that number"),
        (["job", "open", "J-2", "MR-1", "--variant", "Q"], 2, "variant"),
        (["job", "set", "J-1", "colour", "red"], 2, "no such detail"),
        (["sheet", "check", "nowhere.toml"], 2, "can't be read"),
        (["person", "add", "Ash"], 2, "of that name"),
        (["person", "add", "Zed", "--role", "captain"], 2, "technician"),
        (["import", "nowhere"], 2, "no such folder"),
        (["verify", "--log", "nowhere.duckdb"], 1, "no log here"),
        (["job", "list", "--log", "nowhere.duckdb"], 1, "qclog init"),
    ],
)
def test_bad_input_is_told_plainly(
    shop: Log, capsys: pytest.CaptureFixture[str], command: list[str], status: int, said: str
) -> None:
    assert main(command) == status
    captured = capsys.readouterr()
    assert said in captured.err
    assert "Traceback" not in captured.err
    assert jobs.tell(shop, "J-1").readings == ()


def test_a_sheet_with_problems_lists_each_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.toml").write_text(SHEET.replace('unit = "thou"', 'unit = "mil"'), encoding="utf-8")
    assert main(["sheet", "check", str(tmp_path / "bad.toml")]) == 2
    err = capsys.readouterr().err
    assert "bad.toml:15 unit: 'mil'" in err
    assert "bad.toml has 3 problems" in err


def guided(monkeypatch: pytest.MonkeyPatch, *lines: str) -> int:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    return main(["read", "J-1"])


def test_a_guided_run_is_left_and_resumed(
    shop: Log, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert guided(monkeypatch, "40", "15/16", "61", "fix 16", "mistyped", "", "quit") == 0
    out = capsys.readouterr().out
    assert "0 of 11 places read" in out
    story = jobs.tell(shop, "J-1")
    assert [r.row.said for r in story.readings] == ["40", "15/16", "61", "16"]
    assert len(story.missing) == 8
    assert guided(monkeypatch, "17", "?", "nonsense", "18", "19", "19", "19", "19", "pass", "oiled rotating", "12") == 0
    out = capsys.readouterr().out
    assert "3 of 11 places read" in out
    assert jobs.tell(shop, "J-1").missing == ()
    assert guided(monkeypatch) == 0
    assert "Nothing more is wanted" in capsys.readouterr().out


def test_a_guided_run_knows_each_gauge_and_asks_the_conditions_once(
    shop: Log, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["gauge", "add", "TQ-1", "--kind", "torque", "--unit", "lbf·in", "--step", "1"]) == 0
    assert main(["gauge", "add", "FG-2", "--kind", "feeler", "--unit", "thou", "--step", "1"]) == 0
    lines = ["", "gauge FG-2", "15", "16", "gauge FG-9", "17", "18", "", "", "", "", "pass"]
    lines += ["dry", "dry rotating", "gauge TQ-1", "120", "fix", "fix 12", "mistyped"]
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    assert main(["read", "J-1", "--gauge", "FG-1"]) == 0
    told = capsys.readouterr()
    assert "no such gauge in use" in told.err
    assert "say what it should be" in told.err
    assert "torque was 120 lbf·in. Why?" in told.out
    rows = [r.row for r in jobs.tell(shop, "J-1").readings]
    assert [(r.said, r.gauge, r.conditions) for r in rows] == [
        ("15", "FG-2", None), ("16", "FG-2", None), ("17", "FG-2", None), ("18", "FG-2", None), ("pass", None, None),
        ("120", "TQ-1", "dry rotating"), ("12", "TQ-1", "dry rotating"),
    ]  # fmt: skip


def test_a_guided_run_ends_where_the_input_does(shop: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    assert guided(monkeypatch, "40", "fix 41") == 0
    assert [r.row.said for r in jobs.tell(shop, "J-1").readings] == ["40"]


def test_the_stage_that_was_taken_is_said(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert shop.exists()
    assert main(["read", "J-1", "stand_off", "19/20", "--position", "12", "--gauge", "FG-1"]) == 0
    assert "Cover stand-off, final, at 12: nineteen goes, twenty does not" in capsys.readouterr().out


def test_ctrl_c_in_a_guided_run_loses_nothing(shop: Log) -> None:
    leader, follower = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "qclog", "read", "J-1"],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
        # CI may run us with Ctrl-C ignored, which a child would inherit.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - one call, no threads yet
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    seen = _read_until(leader, b"trial_pack> ")
    os.write(leader, b"40\n")
    seen += _read_until(leader, b"12> ")
    os.killpg(child.pid, signal.SIGINT)
    child.wait(timeout=20)
    os.close(follower)
    os.close(leader)
    assert child.returncode == 130, seen
    assert [r.row.said for r in jobs.tell(shop, "J-1").readings] == ["40"]


def _read_until(terminal: int, wanted: bytes) -> bytes:
    seen = b""
    deadline = time.monotonic() + 30
    while wanted not in seen and time.monotonic() < deadline:
        seen += os.read(terminal, 4096)
    assert wanted in seen, seen
    return seen


def test_import_chart_and_export(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(tmp_path / "new.duckdb"))
    assert main(["import", str(folder)]) == 0
    assert main(["import", str(folder)]) == 0
    assert "nothing new" in capsys.readouterr().out
    assert main(["chart", "MR-1", "stand_off"]) == 0
    out = capsys.readouterr().out
    assert "too few to set limits" in out
    assert "set by choice of shim" in out
    assert main(["chart", "MR-1", "stand_off", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["n"] == 1
    for name in ("a.svg", "b.png"):
        assert main(["chart", "MR-1", "stand_off", "--out", str(tmp_path / name)]) == 0
        assert (tmp_path / name).stat().st_size > 2000
    assert main(["export", str(tmp_path / "out")]) == 0
    assert main(["export", str(tmp_path / "out")]) == 2
    (folder / "readings.csv").write_text("x\n")
    assert main(["import", str(folder)]) == 2
    assert "readings.csv:1" in capsys.readouterr().err
