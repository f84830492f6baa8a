"""People at the terminal: added, given roles and PINs, said to have left."""

from __future__ import annotations

import io

import pytest

from qclog.cli import main
from qclog.services.keeping import signing_on
from qclog.store.log import Log, Submission


@pytest.fixture
def shop(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    assert main(["person", "add", "Rook", "--role", "manager"]) == 0
    monkeypatch.setenv("QCLOG_PERSON", "Rook")
    return log


def test_a_pin_is_asked_for_and_never_an_argument(
    shop: Log, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("4711\n4711\n"))
    assert main(["person", "pin", "Ash"]) == 0
    out = capsys.readouterr().out
    assert "Ash has a new PIN" in out
    assert "4711" not in out
    signing_on.sign_on(shop, "Ash", "4711", Submission("Ash", "terminal", "test"))
    monkeypatch.setattr("sys.stdin", io.StringIO("4711\n8520\n8521\n"))
    assert main(["person", "pin", "Ash", "--by", "Ash"]) != 0
    assert "differ" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("1111\n8520\n8520\n"))
    assert main(["person", "pin", "Ash", "--by", "Ash"]) != 0
    assert "not Ash's PIN" in capsys.readouterr().err
    assert main(["person", "pin", "Ash", "--none"]) == 0
    assert "no PIN" in capsys.readouterr().out


def test_roles_and_leaving(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["person", "role", "Ash", "inspector"]) == 0
    assert main(["person", "left", "Heron"]) == 0
    capsys.readouterr()
    assert main(["person", "list"]) == 0
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert ["Ash", "inspector", "no", "PIN"] in rows
    assert ["Heron", "inspector", "no", "PIN", "has", "left"] in rows
    assert main(["person", "left", "Heron", "--back"]) == 0
    assert main(["person", "role", "Rook", "stores"]) != 0
    assert "without a manager" in capsys.readouterr().err
    assert main(["person", "role", "Ash", "boss"]) != 0
    assert "one of technician" in capsys.readouterr().err
    assert shop.exists()


def test_what_one_may_not_do_is_refused_by_name(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["person", "add", "Fir", "--by", "Ash"]) != 0
    said = capsys.readouterr().err
    assert "Ash is a technician and may not change people, their roles and PINs" in said
    assert "Rook may" in said
    assert main(["job", "set", "J-1", "dispatched", "2026-03-01", "--by", "Ash"]) != 0
    assert "sign a job off" in capsys.readouterr().err
    assert shop.exists()


def test_the_network_is_refused_without_pins(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["dashboard", "--address", "0.0.0.0", "--no-browser"]) != 0  # noqa: S104 - what is tested
    said = capsys.readouterr().err
    assert "everyone signs on with a PIN" in said
    assert "Ash, Heron, Rook" in said
    assert shop.exists()
