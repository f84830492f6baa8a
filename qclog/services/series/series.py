"""A characteristic over the jobs of a case type: one row per job and stage, read or worked out, judged.

New and re-used parts, stages, and machined and unmachined cases are told apart by columns, never pooled here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain.casetypes import Characteristic, Sheet, Version, version_at
from qclog.domain.findings import Change
from qclog.domain.moments import now
from qclog.measures.columns import judge_rows, work_out_rows
from qclog.measures.derivation import codes_needed
from qclog.measures.judging import HIGH, LOW
from qclog.services.keeping import sheets
from qclog.store.findings import changes_in
from qclog.store.log import Log, Use


@dataclass(frozen=True, slots=True)
class Series:
    """`rows`: one row per job and stage, in time order, with columns

    job, stage, taken_at, entry, value, low, high, positions, gauge, technician (see `measures.columns.work_out_rows`),
    condition (new, reused or null), machined, machining_batch, case_serial, rebuild, variant, verdict.
    `versions`: every version of the sheet, by which the verdicts were given. `changes`: every recorded change.
    """

    sheet: Sheet
    characteristic: Characteristic
    rows: pl.DataFrame
    zone: ZoneInfo
    versions: tuple[Version, ...] = ()
    changes: tuple[Change, ...] = ()


def read_series(log: Log, case_type: str, code: str) -> Series:
    """The series of one characteristic; UnknownNameError if the case type or characteristic isn't there."""
    with log.reading() as use:
        versions = sheets.versions(use, case_type)
        sheet = version_at(versions, now()).sheet
        characteristic = sheet.characteristic(code)
        readings, jobs, parts = _raw(use, sheet, [characteristic])
        zone = sheets.timezone_of(use)
        recorded = changes_in(use)
    return replace(build(sheet, characteristic, versions, readings, jobs, parts, zone), changes=recorded)


def read_all(log: Log, case_type: str) -> list[Series]:
    """The series of every characteristic of a case type that is in numbers, from one read of the log."""
    with log.reading() as use:
        versions = sheets.versions(use, case_type)
        sheet = version_at(versions, now()).sheet
        wanted = [c for c in sheet.characteristics if not c.in_words]
        readings, jobs, parts = _raw(use, sheet, wanted)
        zone = sheets.timezone_of(use)
    return [build(sheet, c, versions, readings, jobs, parts, zone) for c in wanted]


def left_outside(log: Log, case_type: str) -> list[tuple[str, str, str]]:
    """(job, what, how) of the final values of a case type outside the limits of their day, jobs in work too."""
    return [
        (row["job"], series.characteristic.name, f"{'below' if row['verdict'] == LOW else 'above'} its limit")
        for series in read_all(log, case_type)
        for row in series.rows.filter((pl.col("stage") == "final") & pl.col("verdict").is_in([LOW, HIGH])).to_dicts()
    ]


def _raw(use: Use, sheet: Sheet, wanted: Sequence[Characteristic]) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    codes = sorted({code for c in wanted for code in codes_needed(sheet, c)})
    return (
        use.frame("readings_that_count", case_type=sheet.code, codes=codes),
        use.frame("jobs_of_type", case_type=sheet.code),
        use.frame("parts_of_type", case_type=sheet.code),
    )


def build(
    sheet: Sheet,
    characteristic: Characteristic,
    versions: Sequence[Version],
    readings: pl.DataFrame,
    jobs: pl.DataFrame,
    parts: pl.DataFrame,
    zone: ZoneInfo,
) -> Series:
    """The series from what was read out of the log."""
    rows = work_out_rows(sheet, characteristic, readings)
    rows = rows.join(
        jobs.select("job", "machining_batch", "case_serial", "rebuild", "variant", "dispatched"), on="job", how="left"
    )
    rows = rows.with_columns(machined=pl.col("machining_batch").is_not_null())
    rows = rows.join(_conditions(characteristic, jobs, parts), on="job", how="left").sort("taken_at", "entry", "job")
    rows = rows.with_columns(verdict=judge_rows(characteristic, versions, rows, readings))
    return Series(sheet, characteristic, rows, zone, tuple(versions))


def _conditions(characteristic: Characteristic, jobs: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """Each job's condition of the parts the characteristic depends on (as `condition_of_parts`, for all jobs)."""
    if not characteristic.parts:
        return jobs.select("job", condition=pl.lit(None, dtype=pl.String))
    mine = parts.filter(pl.col("part").is_in(list(characteristic.parts)))
    reused = mine.filter(pl.col("condition") == "reused").select("job").unique()
    return jobs.select(
        "job",
        condition=pl.when(pl.col("job").is_in(reused["job"].implode())).then(pl.lit("reused")).otherwise(pl.lit("new")),
    )
