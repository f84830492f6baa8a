"""Finds sql/, dashboards/ and sample_data/: inside an installed wheel, else in the checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """The folder `name` ("sql", "dashboards" or "sample_data").

    Raises FileNotFoundError if neither the wheel nor the checkout has it.
    """
    for candidate in (_PACKAGE / "_bundled" / name, _PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"qclog was installed without its {name}/ folder; install it again")


def sql_text(relative: str) -> str:
    """The text of one file under sql/."""
    return (folder("sql") / relative).read_text(encoding="utf-8")
