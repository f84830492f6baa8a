"""`qclog pack`, `qclog stock` and the sums in `qclog job show`, as a technician meets them."""

from __future__ import annotations

import pytest

from qclog.cli import main
from qclog.services.keeping import stock
from qclog.store.log import Log
from tests.conftest import SHEET

PACK = """
[[sum]]
kind = "pack"
code = "cover"
name = "Output cover"
shim_location = "under_bearing"
gap = "stand_off"
trial_pack = "trial_pack"
pinch = 4
gasket_nominal = 13.5
crush = 0.11
limits = { lower = 3, upper = 5.5 }
stock = "S-A"
"""


@pytest.fixture
def shop(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    monkeypatch.setenv("QCLOG_PERSON", "Ash")
    return log


def say(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 0
    return capsys.readouterr().out


def refuse(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 2
    return capsys.readouterr().err


def test_the_sum_from_numbers(capsys: pytest.CaptureFixture[str]) -> None:
    out = say(
        capsys,
        "pack",
        "--trial",
        "40",
        "--reading",
        "15",
        "--gasket",
        "12",
        "--pinch",
        "4",
        "--leaves",
        "20 10x2 5 3x2",
    )
    assert out.splitlines() == [
        "wanted 41 thou, give or take 0.4: have trial 40 reading 15",
        "  40 - 15 = 25 recess; 25 + 12 gasket + 4 pinch = 41",
        "  fit 20+10+5+3+3 = 41",
        "  A trial fit decides; the maker's manual decides.",
    ]


def test_readings_as_the_bench_says_them(capsys: pytest.CaptureFixture[str]) -> None:
    bracket = say(capsys, "pack", "--trial", "40", "--reading", "15/16", "--pinch", "4")
    assert "40 - 15.5 = 24.5 recess" in bracket
    metric = say(capsys, "pack", "--trial", "1 mm", "--reading", "15", "--pinch", "4")
    assert "39.37 - 15 = 24.37 recess" in metric
    joint = say(
        capsys, "pack", "--place", "in_joint", "--reading", "60", "--float", "10", "--leaves", "2x4 5x4 10x4 25x4"
    )
    assert "60 gap + 10 float = 70" in joint
    assert "fit 25+25+10+10 = 70" in joint


def test_bad_input_gets_a_clear_answer(capsys: pytest.CaptureFixture[str], shop: Log) -> None:
    for words, said in (
        (("--trial", "40", "--reading", "no leaf enters", "--pinch", "4"), "flush"),
        (("--trial", "40", "--reading", "0", "--pinch", "4"), "flush"),
        (("--trial=-40", "--reading", "15", "--pinch", "4"), "less than nothing"),
        (("--wanted=-3", "--leaves", "5"), "less than nothing"),
        (("--wanted", "41", "--leaves", ""), "no leaves were given"),
        (("--wanted", "41", "--leaves", "5x0"), "drawer is empty"),
        (("--wanted", "41", "--stock", "S-Q"), "no stock set"),
        (("--reading", "15", "--trial", "40"), "--pinch or --float"),
        (("--reading", "15", "--pinch", "4", "--place", "above"), "under_bearing, in_joint"),
        (("--reading", "15 kPa", "--pinch", "4"), "pressure"),
        ((), "say what is wanted"),
        (("--take",), "booked out to a job"),
        (("J-1", "--wanted", "3"), "a job's sheet says"),
        (("J-9",), "J-9"),
    ):
        assert said in refuse(capsys, "pack", *words), words
    thick = say(capsys, "pack", "--wanted", "11", "--leaves", "20 25")
    assert "11 can't be made within 0.5" in thick
    assert "Every leaf is thicker than wanted: the thinnest is 20." in thick
    assert shop.exists()


def test_a_job_from_trial_to_booked_out(
    capsys: pytest.CaptureFixture[str], shop: Log, tmp_path_factory: pytest.TempPathFactory
) -> None:
    sheet = tmp_path_factory.mktemp("sheet") / "mr.toml"
    sheet.write_text(SHEET.replace('version = "1"', 'version = "2"') + PACK, encoding="utf-8")
    say(capsys, "sheet", "add", str(sheet))
    say(capsys, "job", "open", "J-2", "MR-1")
    assert "No pack can be worked out yet" in say(capsys, "pack", "J-2")
    say(capsys, "read", "J-2", "trial_pack", "40", "--stage", "trial")
    for at in ("12", "3", "6", "9"):
        say(capsys, "read", "J-2", "stand_off", "14/16", "--stage", "trial", "--position", at)
    assert "qclog stock add S-A" in say(capsys, "pack", "J-2")
    for size, count in ((20, 2), (10, 2), (5, 1), (1, 3)):
        assert f"{count} there now" in say(
            capsys, "stock", "add", "S-A", str(size), "--count", str(count), "--minimum", "2"
        )
    shown = say(capsys, "job", "show", "J-2")
    for said in (
        "Sums of the bench:",
        "Output cover: pack wanted 41 thou, give or take",
        "40 - 15 = 25 recess; 25 + 12.015 gasket + 4 pinch = 41.015",
        "> fit 20+20+1 = 41",
        "pinch 3 to 5.5: chance",
        "give or take",
        "Caution: A trial fit decides; the maker's manual decides.",
    ):
        assert said in shown
    assert "booked out of S-A to job J-2: 20+20+1" in say(capsys, "pack", "J-2", "--take")
    low = say(capsys, "stock", "list", "S-A")
    assert "below the minimum: S-A 5 (wants 1 more), S-A 20 (wants 2 more)" in low
    assert {s.size.nominal: s.count for s in stock.list_stock(shop)} == {20: 0, 10: 2, 5: 1, 1: 2}
    assert "back in S-A from job J-2: 20" in say(capsys, "stock", "back", "S-A", "20", "--job", "J-2")
    assert "no leaf of 5" in refuse(capsys, "stock", "back", "S-A", "5", "--job", "J-2")
    assert "1 fewer than the log had" in say(capsys, "stock", "count", "S-A", "10", "--count", "1")
    assert "at least 0 from now on" in say(capsys, "stock", "minimum", "S-A", "5", "0")
    assert "booked out of S-A to job J-2: 10+1" in say(capsys, "stock", "take", "S-A", "10+1", "--job", "J-2")
    assert "packs yet" in refuse(capsys, "stock", "forecast", "S-A")
    assert "as LR-2=10" in refuse(capsys, "stock", "forecast", "S-A", "--jobs", "MR-1")
