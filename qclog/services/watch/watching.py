"""The findings of a log: every reading that counts, arranged for the watch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.domain.findings import Change, Finding
from qclog.domain.sheets.casetypes import Characteristic, Sheet
from qclog.measures.columns import GROUPED, over_places, work_out_rows
from qclog.measures.derivation import codes_needed
from qclog.measures.intervals import drawn_column
from qclog.services.keeping import changes, sheets
from qclog.store.findings import changes_in
from qclog.store.log import Log, Use
from qclog.watch.findings import find
from qclog.watch.observations import COLUMNS, TICKS, Observations

_KEY = {"case_type": pl.String, "characteristic": pl.String}
MATTERS_SHARE = 0.15  # of the band of limits: the smallest difference worth raising, where the sheet has a band


def find_all(log: Log, until: datetime | None = None) -> tuple[Finding, ...]:
    """Every finding that stands in the log, strongest first. `until` (UTC) looks only at readings taken by then."""
    return find(observe(log, until))


def observe(log: Log, until: datetime | None = None) -> Observations:
    """The log as the watch looks at it. Forced stages and readings in words take no part."""
    with log.reading() as use:
        read = read_for_watch(use)
    if until is not None:
        read = replace(read, readings=read.readings.filter(pl.col("taken_at") <= until))
    return arrange(read)


@dataclass(frozen=True, slots=True)
class Read:
    """What the watch needs of a log: the sheets in force, and whole tables as the queries of those names give them."""

    sheets: tuple[Sheet, ...]
    readings: pl.DataFrame
    jobs: pl.DataFrame
    parts: pl.DataFrame
    checks: pl.DataFrame
    gauges: list[stored.Gauge]
    changes: tuple[Change, ...]


def read_for_watch(use: Use) -> Read:
    """Everything the watch looks at, from one opening of the log."""
    return Read(
        sheets=tuple(sheets.latest(use, case_type) for case_type in sheets.known_case_types(use)),
        readings=use.frame("readings_for_watch"),
        jobs=use.frame("jobs_all"),
        parts=use.frame("parts_all"),
        checks=use.frame("gauge_checks"),
        gauges=use.rows("gauges", stored.Gauge),
        changes=changes_in(use),
    )


def arrange(read: Read) -> Observations:
    """What was read as the watch looks at it, worked out where it is worked out."""
    readings, jobs, parts = read.readings, read.jobs, read.parts
    looked_at = [(sheet, c) for sheet in read.sheets for c in sheet.characteristics if not c.in_words]
    rows = _with_eras(_rows(looked_at, readings, jobs, parts), read.changes)
    inside = _with_sub_assemblies(parts)
    machined = jobs.drop_nulls("machining_batch").select(sub_assembly="job", machining_batch="machining_batch")
    return Observations(
        rows=rows.select(*COLUMNS).sort("taken_at", "job", "characteristic", "stage"),
        lots=inside.drop_nulls("lot").select("job", "lot").unique(maintain_order=True),
        inner_batches=inside.join(machined, on="sub_assembly")
        .select("job", "machining_batch")
        .unique(maintain_order=True),
        suppliers=inside.drop_nulls("supplier").select("job", "supplier").unique(maintain_order=True),
        gauges=_gauges(looked_at, readings, rows),
        events=_events(read.checks),
        ticks=_ticks(readings, read.gauges),
        characteristics=pl.DataFrame(
            [_about(sheet.code, c) for sheet, c in looked_at],
            schema={
                "case_type": pl.String,
                "characteristic": pl.String,
                "unit": pl.String,
                "step": pl.Float64,
                "matters": pl.Float64,
            },
            orient="row",
        ).join(rows, on=list(_KEY), how="semi", maintain_order="left"),
    )


def _rows(
    looked_at: Sequence[tuple[Sheet, Characteristic]], readings: pl.DataFrame, jobs: pl.DataFrame, parts: pl.DataFrame
) -> pl.DataFrame:
    """One row per job, characteristic and stage, read or worked out, of all case types at once."""
    about = pl.DataFrame(
        [
            (s.code, c.code, "derived" if c.derived else c.over_positions, bool(c.parts), list(c.forced_at))
            for s, c in looked_at
        ],
        schema={**_KEY, "over": pl.String, "depends": pl.Boolean, "forced_at": pl.List(pl.String)},
        orient="row",
    )
    values = []
    for over in GROUPED:
        read = readings.join(about.filter(pl.col("over") == over), on=list(_KEY), how="semi")
        values.append(over_places(read, [*_KEY, "job", "stage"], over))
    by_type = readings.partition_by("case_type", as_dict=True)
    for sheet, characteristic in looked_at:
        of_type = by_type.get((sheet.code,))
        if of_type is not None and (characteristic.derived or characteristic.over_positions not in GROUPED):
            named = {"case_type": pl.lit(sheet.code), "characteristic": pl.lit(characteristic.code)}
            values.append(work_out_rows(sheet, characteristic, of_type).with_columns(**named))
    depends = pl.DataFrame(
        [(s.code, c.code, part) for s, c in looked_at for part in c.parts],
        schema={**_KEY, "part": pl.String},
        orient="row",
    )
    fitted = parts.filter(pl.col("condition") == "reused").join(jobs.select("job", "case_type"), on="job")
    reused = fitted.join(depends, on=["case_type", "part"]).select("job", *_KEY, condition=pl.lit("reused")).unique()
    told = jobs.select("job", "machining_batch", "case_serial", rebuild=pl.col("rebuild").cast(pl.Int64))
    return (
        pl.concat(values, how="diagonal")
        .with_columns(value=drawn_column())  # what is open on a side counts as its known end: the least it is off
        .drop_nulls("value")
        .join(about, on=list(_KEY))
        .filter(~pl.col("stage").is_in(pl.col("forced_at")))
        .join(told, on="job", how="left")
        .join(reused, on=["job", *_KEY], how="left")
        .with_columns(
            machined=pl.col("machining_batch").is_not_null(),
            condition=pl.when("depends").then(pl.col("condition").fill_null("new")),
        )
    )


def _with_sub_assemblies(parts: pl.DataFrame) -> pl.DataFrame:
    """The parts of every job, with those of the sub-assemblies fitted to it, to any depth."""
    own = parts.select("job", "lot", "supplier", "sub_assembly")
    fitted = own.drop_nulls("sub_assembly").select("job", "sub_assembly").unique(maintain_order=True)
    every, seen = [own], set(fitted.rows())
    while fitted.height:
        inside = fitted.join(own, left_on="sub_assembly", right_on="job", suffix="_of_it", maintain_order="left")
        every.append(inside.select("job", "lot", "supplier", sub_assembly="sub_assembly_of_it"))
        deeper = inside.drop_nulls("sub_assembly_of_it").select("job", sub_assembly="sub_assembly_of_it").unique()
        fitted = deeper.filter([pair not in seen for pair in deeper.rows()])
        seen |= set(fitted.rows())
    return pl.concat(every)


def _with_eras(rows: pl.DataFrame, recorded: Sequence[Change]) -> pl.DataFrame:
    """The rows with the number of recorded changes of their characteristic before each."""
    if not recorded or rows.is_empty():
        return rows.with_columns(era=pl.lit(0, dtype=pl.Int64))
    parts = []
    for (case_type, code), mine in rows.partition_by(*_KEY, as_dict=True).items():
        own = changes.changes_of(recorded, str(case_type), str(code), mine)
        parts.append(mine.with_columns(changes.eras(mine, own)))
    return pl.concat(parts)


def _gauges(
    looked_at: Sequence[tuple[Sheet, Characteristic]], readings: pl.DataFrame, rows: pl.DataFrame
) -> pl.DataFrame:
    """Every gauge that a value rests on, at its stage or, where that stage has none of its own, at any."""
    rests_on = pl.DataFrame(
        [(s.code, c.code, code) for s, c in looked_at for code in sorted(codes_needed(s, c))],
        schema={**_KEY, "needs": pl.String},
        orient="row",
    )
    taken = readings.drop_nulls("gauge").select("job", "stage", "gauge", needs="characteristic").unique()
    wanted = rows.select("job", "stage", *_KEY).join(rests_on, on=list(_KEY))
    here = wanted.join(taken, on=["job", "stage", "needs"])
    place = ["job", "stage", *_KEY]
    rest = wanted.join(here.select(place).unique(), on=place, how="anti")
    elsewhere = rest.join(taken.select("job", "gauge", "needs").unique(), on=["job", "needs"])
    columns = ["job", "characteristic", "stage", "gauge"]
    return pl.concat([here.select(columns), elsewhere.select(columns)]).unique(maintain_order=True)


def _ticks(readings: pl.DataFrame, gauges: list[stored.Gauge]) -> pl.DataFrame:
    """Single readings in whole steps of a feeler that has odd and even leaves: which of the two it was."""
    mixed = {g.gauge: g.step for g in gauges if g.kind == "feeler" and _has_both(g.leaves, g.step)}
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
