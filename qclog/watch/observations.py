"""What the watch looks at: one row for each unit's value of a characteristic, and what each was made and read with."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

KINDS = ("machining_batch", "lot", "gauge", "technician", "rebuilt", "case_serial")

COLUMNS = {
    "job": pl.String,
    "case_type": pl.String,
    "characteristic": pl.String,
    "stage": pl.String,
    "condition": pl.String,
    "machined": pl.Boolean,
    "taken_at": pl.Datetime("us"),
    "value": pl.Float64,
    "gauge": pl.String,
    "technician": pl.String,
    "machining_batch": pl.String,
    "case_serial": pl.String,
    "rebuild": pl.Int64,
}


@dataclass(frozen=True, slots=True)
class Observations:
    """Rows with the columns of `COLUMNS`, in time order; `lots` has one row per (job, part, lot).

    `characteristics` has one row per (case_type, characteristic): `unit`, `step` and `matters`, the smallest
    difference that matters in the trade in that unit (null where the sheet gives no tolerance).
    """

    rows: pl.DataFrame
    lots: pl.DataFrame
    characteristics: pl.DataFrame
