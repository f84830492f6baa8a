"""The whole log as an exchange folder, which imports back to the same log."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.exchange.plain_cells import write_plain
from qclog.exchange.tables import TABLES
from qclog.services.keeping.output import new_folder
from qclog.services.keeping.sheets import timezone_of
from qclog.store.log import Log

_QUERIES = {
    "sheet_dates": "sheet_dates",
    "people": "people",
    "gauges": "gauges",
    "gauge_checks": "gauge_checks",
    "jobs": "jobs_all",
    "parts": "parts_all",
    "readings": "readings_all",
    "strikes": "strikes_all",
    "comebacks": "comebacks_all",
    "shim_stock": "shim_sizes_all",
    "shim_movements": "shim_movements",
    "finding_notes": "finding_notes",
    "changes": "changes",
    "person_changes": "person_changes",
    "gauge_details": "gauge_details",
    "comeback_details": "comeback_details",
    "house_details": "house_details",
}


def export_folder(log: Log, folder: Path) -> list[tuple[str, int]]:
    """Write every file of the contract, and stock, notes on findings and changes if there are any; (file, rows) each.

    InputError if the folder holds something already; OutputError if it can't be written: then nothing is there.
    """
    with log.reading() as use:
        zone = timezone_of(use)
        sheets = use.rows("sheets", stored.SheetText)
        frames = {name: use.frame(query) for name, query in _QUERIES.items()}
    with new_folder(folder) as part:
        return _write(part, sheets, frames, zone)


def _write(
    folder: Path, sheets: list[stored.SheetText], frames: dict[str, pl.DataFrame], zone: ZoneInfo
) -> list[tuple[str, int]]:
    (folder / "case_types").mkdir()
    written = []
    names: set[str] = set()
    for row in sheets:
        name = _free_name(f"{_file_name(row.case_type)}_{_file_name(row.version)}", names) + ".toml"
        (folder / "case_types" / name).write_text(row.text, encoding="utf-8", newline="")
        written.append((f"case_types/{name}", 1))
    for table in TABLES:
        if frames[table.name].is_empty() and not table.written_empty:
            continue
        frame = write_plain(_as_text(frames[table.name].select(table.columns), zone))
        frame.write_csv(folder / table.file)
        written.append((table.file, len(frame)))
    return written


def _file_name(text: str) -> str:
    return "".join(c if c.isalnum() or c in "-." else "_" for c in text)


def _free_name(stem: str, taken: set[str]) -> str:
    """The name, with a number where another differs from it only in what file names can't tell apart."""
    name, number = stem, 1
    while name.lower() in taken:
        number += 1
        name = f"{stem}-{number}"
    taken.add(name.lower())
    return name


def _as_text(frame: pl.DataFrame, zone: ZoneInfo) -> pl.DataFrame:
    """Times in the log's zone with their offset; numbers as short as they read back."""
    local = pl.col(pl.Datetime).dt.replace_time_zone("UTC").dt.convert_time_zone(str(zone))
    return frame.with_columns(
        local.dt.strftime("%Y-%m-%dT%H:%M:%S%.f%:z"),
        pl.col(pl.Date).dt.strftime("%Y-%m-%d"),
    )
