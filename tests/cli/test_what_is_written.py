"""Files that output must not touch: every command that writes, against everything it could destroy.

The commands come from the parser, so one that is added has to be added here.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from qclog.cli import build_parser, main
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log
from tests.conftest import copied, make_log

WRITERS: dict[str, tuple[str, ...]] = {
    "recall": ("trace", "J-1", "--recall"),
    "investigation file": ("trace", "J-1", "--file"),
    "chart": ("chart", "MR-1", "trial_pack", "--out"),
    "record": ("paper", "record", "J-1", "--to"),
    "card": ("paper", "card", "J-1", "--to"),
    "labels": ("paper", "labels", "--gauge", "FG-1", "--to"),
    "review": ("paper", "review", "--to"),
    "investigation": ("paper", "investigation", "J-1", "--to"),
    "export": ("export",),
    "parquet": ("export", "--parquet"),
    "backup": ("backup",),
}
ENDING = {"chart": ".svg", "recall": ".csv", "backup": ".duckdb", "record": ".pdf", "card": ".html", "labels": ".html",
          "review": ".html", "investigation": ".html"}  # fmt: skip
FOLDERS = ("investigation file", "export", "parquet")
READ_ONLY = {("import", "folder"), ("sheet check", "file"), ("sheet add", "file"), ("restore", "backup")}
WRITTEN = {
    ("trace", "recall"), ("trace", "file"), ("chart", "out"), ("export", "folder"), ("backup", "place"),
    *((f"paper {paper}", "to") for paper in ("record", "card", "labels", "review", "investigation")),
}  # fmt: skip


@pytest.fixture(scope="module")
def another(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The log of another workshop."""
    return make_log(tmp_path_factory.mktemp("another") / "other.duckdb").path


@pytest.fixture
def place(log: Log, another: Path, tmp_path: Path) -> Path:
    """A folder with the log, another one, links to both, what lies beside a log, and a file somebody wrote."""
    read = ["read", "J-1", "trial_pack", "41", "--stage", "trial", "--by", "Ash", "--log", str(log.path)]
    assert main(read) == 0
    folder = tmp_path / "place"
    folder.mkdir()
    mine = copied(log, folder)
    shutil.copy(another, folder / "other.duckdb")
    (folder / "link.csv").symlink_to(mine.path)
    (folder / "far.csv").symlink_to("link.csv")
    os.link(folder / "other.duckdb", folder / "hard.pdf")
    shutil.copy(mine.path, folder / "idle.duckdb")
    (folder / "idle.duckdb.wal").write_text("not merged yet")
    (folder / "report.txt").write_text("written by somebody")
    (folder / "nowhere.pdf").symlink_to("not-there.pdf")
    (folder / "full").mkdir()
    (folder / "full" / "a.txt").write_text("somebody's")
    return folder


def tree(folder: Path) -> dict[str, str]:
    """Every name under a folder, with what it holds or points at; a log by its bytes."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.suffix == ".lock":
            continue  # which using a log makes and locks
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"-> {path.readlink()}"
        else:
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
    return found


def paths_of(parser: argparse.ArgumentParser, name: str = "") -> Iterator[tuple[str, str]]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, under in action.choices.items():
                yield from paths_of(under, f"{name} {word}".strip())
        elif action.type is Path:
            yield name, action.dest


def test_every_command_that_takes_a_path_is_looked_at_here() -> None:
    assert set(paths_of(build_parser())) == READ_ONLY | WRITTEN


@pytest.mark.parametrize(
    ("writer", "replace"),
    [(writer, replace) for writer in WRITERS for replace in (False, True) if not (replace and writer in FOLDERS)],
)
def test_no_command_writes_over_a_log(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], writer: str, replace: bool
) -> None:
    monkeypatch.chdir(place)
    before = tree(place)
    names = ["shop.duckdb", str(place / "shop.duckdb"), "./full/../shop.duckdb", "link.csv", "far.csv", "hard.pdf",
             "other.duckdb", "idle.duckdb.wal"]  # fmt: skip
    allowed = ["--replace"] if replace else []
    for name in [*names, *(f"full/{name}" for name in linked_with_ending(place, ENDING.get(writer)))]:
        if writer == "backup" and replace and name == "hard.pdf":
            continue
        assert main([*WRITERS[writer], name, *allowed, "--log", "shop.duckdb"]) == 2, name
        assert "Traceback" not in capsys.readouterr().err
        assert {k: v for k, v in tree(place).items() if k in before} == before, name
    assert verify(Log(place / "shop.duckdb")).sound


def linked_with_ending(place: Path, ending: str | None) -> list[str]:
    """Links to the log whose names end as the command wants them, so that it comes as far as writing."""
    if ending is None or ending == ".duckdb":
        return []
    (place / "full" / f"soft{ending}").symlink_to(place / "shop.duckdb")
    os.link(place / "shop.duckdb", place / "full" / f"hard{ending}")
    return [f"soft{ending}", f"hard{ending}"]


@pytest.mark.parametrize("writer", WRITERS)
def test_no_command_writes_over_what_it_did_not_make(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], writer: str
) -> None:
    monkeypatch.chdir(place)
    ending = ENDING.get(writer, "")
    (place / f"mine{ending}").write_text("written by somebody")
    (place / f"dangling{ending}").symlink_to("not-there")
    before = tree(place)
    targets = [f"mine{ending}", f"dangling{ending}", f"not/there/x{ending}"]
    targets += ["full"] if writer in FOLDERS else []
    for target in targets:
        status = main([*WRITERS[writer], target, "--log", "shop.duckdb"])
        said = capsys.readouterr().err
        assert status == (1 if "there/" in target else 2), (target, said)
        assert "--replace" in said or "make it first" in said or "name a new one" in said, said
        assert tree(place) == before, target


@pytest.mark.parametrize("writer", [w for w in WRITERS if w not in FOLDERS])
def test_with_replace_a_file_gives_way_whole(place: Path, monkeypatch: pytest.MonkeyPatch, writer: str) -> None:
    monkeypatch.chdir(place)
    target = place / f"mine{ENDING[writer]}"
    target.write_text("written by somebody")
    assert main([*WRITERS[writer], target.name, "--replace", "--log", "shop.duckdb"]) == 0
    assert target.read_bytes() != b"written by somebody"
    assert not [f.name for f in place.iterdir() if ".part" in f.name or "unfinished" in f.name]


def test_what_came_while_it_was_written_stays(tmp_path: Path) -> None:
    from qclog.errors import OutputError
    from qclog.services.keeping.output import new_file

    target = tmp_path / "a.csv"
    with pytest.raises(OutputError, match=r"already|exists"), new_file(target) as part:
        part.write_text("ours")
        target.write_text("somebody else's")
    assert target.read_text() == "somebody else's"
    assert [f.name for f in tmp_path.iterdir()] == ["a.csv"]
