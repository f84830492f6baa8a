"""What the watch looks at: one row for each unit's value of a characteristic, and what each was made and read with."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import polars as pl


@dataclass(frozen=True, slots=True)
class Kind:
    """How the levels of one kind of identifier are looked at, and what their trouble is called.

    cause : its name in `domain.findings.CAUSES`. looked_at : `whole`, in stretches `over time`, `alone` as single
    units, or by a `slope` over rebuilds. harmless : how much sound levels differ anyway, in spreads.
    """

    cause: str
    looked_at: Literal["whole", "over time", "alone", "slope"]
    harmless: float = 0.1


PERSON = "technician"
KINDS = {
    "machining_batch": Kind("odd machining", "whole", 0.05),
    "lot": Kind("parts lot", "whole", 0.15),
    "supplier": Kind("parts lot", "whole", 0.15),
    "gauge": Kind("gauge", "over time", 0.15),
    PERSON: Kind("technician", "over time", 0.15),
    "rebuilt": Kind("worn casing", "slope"),
    "case_serial": Kind("odd casing", "alone"),
    "visit": Kind("odd casing", "alone"),
}


def looked_at(*ways: str) -> tuple[str, ...]:
    """The kinds that are looked at in these ways."""
    return tuple(name for name, kind in KINDS.items() if kind.looked_at in ways)


WHOLE, OVER_TIME, ALONE = looked_at("whole"), looked_at("over time"), looked_at("alone")
GROUPS = (*WHOLE, *OVER_TIME)

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
    a new reference; it may be left out); `lots` has one row per (job, lot), `suppliers` one per (job, supplier), both
    with those of the sub-assemblies fitted, `inner_batches` one per (job, machining batch of a sub-assembly), and
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
    suppliers: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=_pairs("supplier")))
    inner_batches: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=_pairs("machining_batch")))


def _pairs(level: str) -> dict[str, type[pl.String]]:
    return {"job": pl.String, level: pl.String}
