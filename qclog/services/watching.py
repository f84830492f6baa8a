"""The findings of a log: every reading that counts, arranged for the watch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import polars as pl

from qclog.domain.casetypes import Characteristic, Sheet, version_at
from qclog.domain.moments import now
from qclog.services import changes, sheets
from qclog.services.series import build, needed_codes
from qclog.store.findings import changes_in
from qclog.store.log import Log
from qclog.watch.findings import Finding, find
from qclog.watch.observations import COLUMNS, TICKS, Observations

MATTERS_SHARE = 0.15  # of the band of limits: the smallest difference worth raising, where the sheet has a band


def find_all(log: Log, until: datetime | None = None) -> tuple[Finding, ...]:
    """Every finding that stands in the log, strongest first. `until` (UTC) looks only at readings taken by then."""
    return find(observe(log, until))


def observe(log: Log, until: datetime | None = None) -> Observations:
    """The log as the watch looks at it. Forced stages and readings in words take no part."""
    with log.reading() as use:
        case_types = sheets.known_case_types(use)
        versions = {c: sheets.versions(use, c) for c in case_types}
        readings = use.frame("readings_for_watch")
        jobs = use.frame("jobs_all")
        parts = use.frame("parts_all")
        checks = use.frame("gauge_checks")
        gauges_of_log = use.rows("gauges")
        zone = sheets.timezone_of(use)
        recorded = changes_in(use)
    if until is not None:
        readings = readings.filter(pl.col("taken_at") <= until)
    rows, gauges, about = [], [], []
    by_type = readings.partition_by("case_type", as_dict=True)
    for case_type in case_types:
        mine = by_type.get((case_type,))
        if mine is None:
            continue
        sheet = version_at(versions[case_type], now()).sheet
        own_jobs = jobs.filter(pl.col("case_type") == case_type)
        own_parts = parts.join(own_jobs.select("job"), on="job", how="semi")
        for characteristic in sheet.characteristics:
            if characteristic.in_words:
                continue
            series = build(sheet, characteristic, versions[case_type], mine, own_jobs, own_parts, zone)
            kept = series.rows.filter(
                pl.col("value").is_not_nan() & ~pl.col("stage").is_in(list(characteristic.forced_at))
            )
            if kept.is_empty():
                continue
            own = changes.changes_of(recorded, case_type, characteristic.code, kept)
            rows.append(_columns(kept.with_columns(changes.eras(kept, own)), case_type, characteristic))
            gauges.append(_gauges(mine, kept, sheet, characteristic))
            about.append(_about(case_type, characteristic))
    lots = parts.drop_nulls("lot").select("job", lot=pl.col("lot"))
    return Observations(
        rows=_joined(rows, COLUMNS).sort("taken_at", "job", "characteristic", "stage"),
        lots=lots,
        gauges=_joined(gauges, dict.fromkeys(("job", "characteristic", "stage", "gauge"), pl.String)),
        events=_events(checks),
        ticks=_ticks(readings, gauges_of_log),
        characteristics=pl.DataFrame(
            about,
            schema={
                "case_type": pl.String,
                "characteristic": pl.String,
                "unit": pl.String,
                "step": pl.Float64,
                "matters": pl.Float64,
            },
            orient="row",
        ),
    )


def _joined(frames: Sequence[pl.DataFrame], schema: Any) -> pl.DataFrame:
    return pl.concat(frames) if frames else pl.DataFrame(schema=schema)


def _columns(rows: pl.DataFrame, case_type: str, characteristic: Characteristic) -> pl.DataFrame:
    return rows.with_columns(
        case_type=pl.lit(case_type),
        characteristic=pl.lit(characteristic.code),
        rebuild=pl.col("rebuild").cast(pl.Int64),
    ).select(*COLUMNS)


def _gauges(readings: pl.DataFrame, rows: pl.DataFrame, sheet: Sheet, characteristic: Characteristic) -> pl.DataFrame:
    """Every gauge that a value rests on, at its stage or, where that stage has none of its own, at any."""
    raw = readings.filter(pl.col("characteristic").is_in(sorted(needed_codes(sheet, characteristic)))).drop_nulls(
        "gauge"
    )
    here = rows.select("job", "stage").join(raw.select("job", "stage", "gauge").unique(), on=["job", "stage"])
    rest = rows.select("job", "stage").join(here, on=["job", "stage"], how="anti")
    other = rest.join(raw.select("job", "gauge").unique(), on="job")
    both = pl.concat([here, other.select(here.columns)])
    return both.select("job", "stage", "gauge", characteristic=pl.lit(characteristic.code)).select(
        "job", "characteristic", "stage", "gauge"
    )


def _ticks(readings: pl.DataFrame, gauges: list[dict[str, Any]]) -> pl.DataFrame:
    """Single readings in whole steps of a feeler that has odd and even leaves: which of the two it was."""
    mixed = {g["gauge"]: g["step"] for g in gauges if g["kind"] == "feeler" and _has_both(g["leaves"], g["step"])}
    mine = readings.filter(pl.col("gauge").is_in(list(mixed)) & pl.col("low").is_not_null())
    step = pl.col("gauge").replace_strict(mixed, default=None, return_dtype=pl.Float64)
    mine = mine.with_columns(tick=(pl.col("low") / step).round(6)).filter(pl.col("tick") == pl.col("tick").round())
    return mine.with_columns(even=pl.col("tick").cast(pl.Int64) % 2 == 0).sort("taken_at").select(*TICKS)


def _has_both(leaves: str | None, step: float) -> bool:
    if not leaves:  # the leaf set is part of the question, so without it there is no answer
        return False
    ticks = {round(float(leaf) / step) % 2 for leaf in leaves.split()}
    return ticks == {0, 1}


def _events(checks: pl.DataFrame) -> pl.DataFrame:
    """From each drop of a gauge to its next withdrawal, return or calibration, if there was one."""
    ends = checks.filter(pl.col("event").is_in(["withdrawn", "returned", "calibrated"]))
    rows = []
    for gauge, since in checks.filter(pl.col("event") == "dropped").select("gauge", "checked_at").rows():
        after = ends.filter((pl.col("gauge") == gauge) & (pl.col("checked_at") > since))["checked_at"]
        rows.append((gauge, since, after.min() if len(after) else datetime(2262, 1, 1)))
    schema: Any = {"gauge": pl.String, "since": pl.Datetime("us"), "until": pl.Datetime("us")}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _about(case_type: str, characteristic: Characteristic) -> tuple[str, str, str, float | None, float | None]:
    places = max(1, len(characteristic.positions))
    step = None if characteristic.step is None else characteristic.step / places
    bands = [s.upper - s.lower for _, s in characteristic.limits if s.lower is not None and s.upper is not None]
    matters = MATTERS_SHARE * min(bands) if bands else None
    return case_type, characteristic.code, characteristic.unit, step, matters
