"""Checks the strike-outs of an exchange folder, and readies what is new."""

from __future__ import annotations

from collections import Counter
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.errors import Problem
from qclog.exchange.folder import Folder
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.exchange.import_tables import Cells, Known
from qclog.store.log import Use

_PLACE = ("job", "characteristic", "stage", "position", "attempt")


def check_strikes(
    seen: Snapshot, folder: Folder, known: Known, readings: pl.DataFrame
) -> tuple[pl.DataFrame, list[Problem]]:
    """The strike-outs to add, by the place of their reading, and every problem. `readings` are those coming along."""
    table = folder.tables["strikes"]
    if table.is_empty():
        return pl.DataFrame(), []
    cells = Cells("strikes.csv", known.zone, known.unread)
    said = (*_PLACE, "by", "reason")
    there = Counter(tuple(getattr(row, c) for c in said) for row in seen.rows("strikes_all", stored.Strike))
    places = _places(seen, table, readings)
    met: Counter[tuple[Any, ...]] = Counter()
    new: list[dict[str, Any]] = []
    for row in table.iter_rows(named=True):
        cells.points_at(row, "job", known.jobs, "job")
        cells.points_at(row, "by", known.people, "person")
        attempt = cells.read(row, "attempt", int)
        if attempt is None or None in (row["job"], row["by"], row["reason"]):
            continue
        key = (*(row[c] or "" for c in _PLACE[:-1]), attempt)
        if key not in places and row["job"] in known.jobs and "readings" not in known.unread:
            cells.wrong(row, "attempt", "is an attempt that is not there")
            continue
        whole = (*key, row["by"], row["reason"])
        met[whole] += 1
        if met[whole] > there[whole]:
            columns = (*_PLACE, "person", "reason")
            new.append(dict(zip(columns, whole, strict=True)) | {"entry": known.entry, "number": len(new)})
    return pl.DataFrame(new), cells.problems


def _places(seen: Snapshot, table: pl.DataFrame, readings: pl.DataFrame) -> set[tuple[Any, ...]]:
    asked = table.select("job").drop_nulls().unique()
    there = seen.readings_of(asked).select(_PLACE).rows()
    coming = readings.join(asked, on="job", how="semi").select(_PLACE).rows() if len(readings) else []
    return {*there, *coming}


def store_strikes(use: Use, strikes: pl.DataFrame) -> int:
    """Add the strike-outs, once their readings are in the log; how many."""
    if len(strikes):
        frame = use.frame_with("strikes_with_ids", "incoming_strikes", strikes)
        use.insert_frame("strike", frame.with_columns(pl.col("reading").cast(pl.String)))
    return len(strikes)
