"""The house stays as it was laid out: layers, thin pages, short files, quick help, honest README."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from qclog.cli import build_parser, reference

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "qclog").rglob("*.py"))


def test_imports_point_down() -> None:
    command = [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_the_command_line_loads_nothing_heavy() -> None:
    heavy = "{'streamlit', 'altair', 'scipy', 'duckdb', 'polars', 'numpy', 'pint'}"
    script = f"import sys, qclog.cli; qclog.cli.build_parser(); print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("file", SOURCES, ids=lambda f: str(f.relative_to(ROOT)))
def test_no_file_is_longer_than_500_lines(file: Path) -> None:
    assert len(file.read_text(encoding="utf-8").splitlines()) <= 500


@pytest.mark.parametrize("file", sorted((ROOT / "dashboards").rglob("*.py")), ids=lambda f: f.name)
def test_pages_are_thin(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 80
    assert "class " not in text
    for word in ("SELECT", "duckdb", "scipy", "numpy", "qclog.store", "qclog.stats"):
        assert word not in text


def test_front_ends_do_not_open_the_log() -> None:
    """What they want of it, a service reads in one opening."""
    front = [f for f in SOURCES if f.relative_to(ROOT / "qclog").parts[0] in ("cli", "web", "public.py")]
    for file in front:
        text = file.read_text(encoding="utf-8")
        for word in (".reading(", ".writing(", "use.rows", "use.frame", "use.connection"):
            assert word not in text, f"{file}: {word}"


def test_only_the_store_holds_sql() -> None:
    statement = re.compile(r"\b(SELECT|INSERT INTO|CREATE TABLE|UPDATE)\b [a-z*({]")
    for file in SOURCES:
        if file.relative_to(ROOT / "qclog").parts[0] != "store":
            assert not statement.search(file.read_text(encoding="utf-8")), file


def test_every_module_says_what_it_is_for() -> None:
    for file in SOURCES:
        assert file.read_text(encoding="utf-8").startswith('"""'), file


def _commands() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```(?:sh|console)\n(.*?)```", text, flags=re.DOTALL)
    lines = [line.removeprefix("$ ") for block in blocks for line in block.splitlines()]
    return [line.split("&&")[-1].strip() for line in lines if re.search(r"(^|[/ &])qclog ", line)]


def test_the_readme_has_commands() -> None:
    assert len(_commands()) >= 8


@pytest.mark.parametrize("command", _commands())
def test_every_command_in_the_readme_is_one_the_code_has(command: str) -> None:
    words = shlex.split(command, comments=True)
    words = words[[i for i, w in enumerate(words) if Path(w).name == "qclog"][-1] + 1 :]
    build_parser().parse_args(words)


def test_no_machine_path_or_registry_is_in_a_tracked_file() -> None:
    pattern = r"index-url|extra-index|find-links|(^|[^a-zA-Z0-9])/(work|farm|root)/[a-z.]"
    done = subprocess.run(
        ["git", "grep", "-nIE", pattern, "--", ".", ":!tests/architecture/test_house.py"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == ""


def test_the_command_reference_is_that_of_the_commands() -> None:
    """Both ways: no command without its lines, no lines without one (`python -m qclog.cli.reference` writes it)."""
    assert reference.FILE.read_text(encoding="utf-8") == reference.text()


@pytest.mark.parametrize(
    "room", sorted(p.parent for p in (ROOT / "qclog").rglob("__init__.py") if p.parent != ROOT / "qclog")
)
def test_every_room_says_what_it_promises(room: Path) -> None:
    assert (room / "README.md").exists(), room
