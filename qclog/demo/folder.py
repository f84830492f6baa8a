"""Writes the sample workshop as an exchange folder, the same bytes each time."""

from __future__ import annotations

import csv
import io
from importlib import resources
from pathlib import Path

from qclog.demo.workshop import COLUMNS, Workshop


def sheet_texts() -> dict[str, str]:
    """The texts of the sample's sheets by file name."""
    folder = resources.files("qclog.demo") / "sheets"
    return {
        file.name: file.read_text(encoding="utf-8")
        for file in sorted(folder.iterdir(), key=lambda f: f.name)
        if file.name.endswith(".toml")
    }


def write_folder(workshop: Workshop, folder: Path) -> list[Path]:
    """Write case_types/*.toml and one CSV file for each table into `folder`, made if it isn't there; the files."""
    files = {f"case_types/{name}": text for name, text in sheet_texts().items()}
    for table, columns in COLUMNS.items():
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns.split())
        writer.writerows(workshop.rows(table))
        files[f"{table}.csv"] = out.getvalue()
    (folder / "case_types").mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in files]
