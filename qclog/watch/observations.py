"""What the watch looks at: one row for each unit's value of a characteristic, and what each was made and read with."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

KINDS = ("machining_batch", "lot", "gauge", "technician", "rebuilt", "case_serial")

COLUMNS: dict[str, pl.DataType | type[pl.DataType]] = {
    "job": pl.String,
    "case_type": pl.String,
    "characteristic": pl.String,
    "stage": pl.String,
    "condition": pl.String,
    "machined": pl.Boolean,
    "taken_at": pl.Datetime("us"),
    "value": pl.Float64,
    "technician": pl.String,
    "machining_batch": pl.String,
    "case_serial": pl.String,
    "rebuild": pl.Int64,
    "era": pl.Int64,
}


TICKS: dict[str, pl.DataType | type[pl.DataType]] = {
    "technician": pl.String,
    "case_type": pl.String,
    "characteristic": pl.String,
    "job": pl.String,
    "taken_at": pl.Datetime("us"),
    "even": pl.Boolean,
}


@dataclass(frozen=True, slots=True)
class Observations:
    """Rows with the columns of `COLUMNS`, in time order (`era` counts the recorded changes before the row: each starts
    a new reference; it may be left out); `lots` has one row per (job, lot) and
    `gauges` one per (job, characteristic, stage, gauge), since a worked-out value rests on several.

    `events` has one row per stretch of time between two recorded events of a gauge (gauge, since, until), to be looked
    at for itself. `characteristics` has one row per (case_type, characteristic): `unit`, `step` and
    `matters`, the smallest difference that matters in the trade in that unit (null: the sheet gives no tolerance).
    `ticks` has one row per single reading with a feeler whose leaves are both odd and even: technician, case_type,
    characteristic, job, taken_at, and whether its leaf is `even`.
    """

    rows: pl.DataFrame
    lots: pl.DataFrame
    gauges: pl.DataFrame
    events: pl.DataFrame
    characteristics: pl.DataFrame
    ticks: pl.DataFrame
