"""Checks what an exchange folder says later of gauges, returns and the house, and readies what is new of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.domain.claims import AMOUNTS, MOMENTS
from qclog.domain.jobs import ATTRIBUTABLE
from qclog.domain.moments import read_moment
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.errors import InputError, Problem
from qclog.exchange.folder import Folder
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.exchange.import_tables import Cells, Known

_NUMBERS = (*AMOUNTS, "tolerance")


@dataclass(frozen=True, slots=True)
class _Details:
    """A table of details: its CSV file, its table of the log, what they are said of, and what the log has."""

    file: str
    table: str
    of: tuple[str, ...]
    there: dict[tuple[Any, ...], str]


def check_details(seen: Snapshot, folder: Folder, known: Known) -> tuple[dict[str, pl.DataFrame], list[Problem]]:
    """The rows to add to each table of the log, and every problem."""
    frames, problems = {}, []
    for details in _in_log(seen):
        cells = Cells(f"{details.file}.csv", known.zone, known.unread)
        new: dict[tuple[Any, ...], str] = {}
        for row in folder.tables[details.file].drop_nulls([*details.of, "name"]).iter_rows(named=True):
            if "gauge" in details.of:
                cells.points_at(row, "gauge", known.gauges, "gauge")
            if "job" in details.of:
                cells.points_at(row, "job", known.jobs, "job")
            returned = cells.moment(row, "returned") if "returned" in details.of else None
            if returned is not None and (row["job"], returned) not in known.comebacks:
                cells.wrong(row, "returned", f"names a return of {row['job']} that neither the folder nor the log has")
            key = (*(returned if c == "returned" else row[c] for c in details.of), row["name"])
            value = row["value"] or ""
            fault = _fault(row["name"], value, known)
            if fault is not None:
                cells.wrong(row, "value", fault)
            elif key in new:
                cells.wrong(row, "name", "has two lines for the same")
            elif details.there.get(key) != value and not (value == "" and key not in details.there):
                new[key] = value
        columns = (*details.of, "name")
        told = [dict(zip(columns, key, strict=True)) | {"value": value} for key, value in new.items()]
        frames[details.table] = pl.DataFrame(told).with_columns(entry=pl.lit(known.entry)) if told else pl.DataFrame()
        problems += cells.problems
    return frames, problems


def _in_log(seen: Snapshot) -> Sequence[_Details]:
    gauges = seen.rows("gauge_details", stored.GaugeDetail)
    backs = seen.rows("comeback_details", stored.ComebackDetail)
    house = seen.rows("house_details", stored.HouseDetail)
    return (
        _Details("gauge_details", "gauge_detail", ("gauge",), {(r.gauge, r.name): r.value for r in gauges}),
        _Details(
            "comeback_details",
            "comeback_detail",
            ("job", "returned"),
            {(r.job, r.returned, r.name): r.value for r in backs},
        ),
        _Details("house_details", "house_detail", ("code",), {(r.code, r.name): r.value for r in house}),
    )


def _fault(name: str, value: str, known: Known) -> str | None:
    if value == "":
        return None
    if name in _NUMBERS and (_number(value) is None or (_number(value) or 0.0) < 0):
        return "must be a number, 0 or more"
    if name in MOMENTS:
        try:
            read_moment(value, known.zone)
        except InputError:
            return "must be a time, as 2026-03-14T09:30+00:00"
    if name == "attributable" and value not in ATTRIBUTABLE:
        return f"must be one of {', '.join(ATTRIBUTABLE)}"
    return None


def _number(text: str) -> float | None:
    try:
        return number_of(float(text))
    except ValueError:
        return None
