"""`qclog trace` and `qclog paper` as they are typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.cli import main
from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import submission
from tests.report.pages import texts_of


@pytest.fixture
def shop(tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The imported folder of the fixtures, found by the commands; a folder to write into."""
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission(), timezone="Europe/London")
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return tmp_path


def test_a_trace_is_told(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert shop.is_dir()
    assert main(["trace", "S-9"]) == 0
    out = capsys.readouterr().out
    for word in (
        "Serial S-9",
        "Job J-1",
        "The evidence, graded",
        "nobody has said yet",
        "lot B-7",
        "people who have seen",
    ):
        assert word in out
    assert "corrects attempt 1: mistyped" not in out  # what counts now is not listed among what does not
    assert "corrected to 16 thou by Ash on " in out


def test_a_recall_list_and_the_whole_file_are_written(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", "J-1", "--shares", "B-7", "--recall", str(shop / "r.csv"), "--file", str(shop / "f")]) == 0
    assert "1 unit" in capsys.readouterr().out
    assert (shop / "r.csv").read_text(encoding="utf-8-sig").splitlines()[1].startswith("J-2,")
    assert (shop / "r.csv").read_bytes() == (shop / "f" / "recall.csv").read_bytes()
    assert sorted(p.name for p in (shop / "f").iterdir()) == [
        "investigation.html", "investigation.pdf", "readings.csv", "recall.csv",
    ]  # fmt: skip


def test_a_folder_with_something_in_it_is_left_alone(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (shop / "f").mkdir()
    (shop / "f" / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["trace", "J-1", "--file", str(shop / "f")]) == 2
    assert "not empty" in capsys.readouterr().err
    assert [p.name for p in (shop / "f").iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["trace", "nothing-such"], "nothing in the log is called"),
        (["trace", "J-1", "--kind", "lot"], "has no lot"),
        (["trace", "J-1", "--shares", "X-1"], "it shares: "),
        (["paper", "record", "J-9", "--to", "a.pdf"], "J-9"),
        (["paper", "card", "J-1", "--to", "a.doc"], "end its name in .pdf or .html"),
        (["paper", "review", "May", "--to", "a.pdf"], "write it as 2026-05"),
        (["paper", "labels", "--to", "a.pdf"], "1 to 400 labels"),
    ],
)
def test_what_will_not_do_is_told(
    shop: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(shop)
    before = sorted(p.name for p in shop.iterdir())
    assert main(words) == 2
    assert said in capsys.readouterr().err
    assert sorted(p.name for p in shop.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["record", "J-1"], "Build record job J-1"),
        (["card", "J-1"], "Job card job J-1"),
        (["review", "2026-01"], "Monthly review 2026-01"),
        (["investigation", "B-7"], "Investigation lot B-7"),
        (["labels", "--job", "J-1", "--gauge", "FG-1"], "Labels jobs, gauges"),
    ],
)
def test_every_paper_is_written_as_pdf_and_html(shop: Path, words: list[str], said: str) -> None:
    assert main(["paper", *words, "--to", str(shop / "a.pdf")]) == 0
    assert said in texts_of((shop / "a.pdf").read_bytes())[0]
    assert main(["paper", *words, "--to", str(shop / "a.html")]) == 0
    assert (shop / "a.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
