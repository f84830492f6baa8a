"""A characteristic over the jobs of a case type: one row per job and stage, read or worked out, judged.

New and re-used parts, stages, and machined and unmachined cases are told apart by columns, never pooled here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain.findings import Change
from qclog.domain.sheets.casetypes import Characteristic, Sheet, Version, version_at
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


@dataclass(frozen=True, slots=True)
class CaseTypeRead:
    """What was read of a case type, from which `series` works out without the log."""

    sheet: Sheet
    wanted: tuple[Characteristic, ...]
    versions: tuple[Version, ...]
    readings: pl.DataFrame
    jobs: pl.DataFrame
    parts: pl.DataFrame
    zone: ZoneInfo

    def series(self) -> list[Series]:
        """One for each of `wanted`."""
        about = {parts: _about(parts, self.jobs, self.parts) for parts in {c.parts for c in self.wanted}}
        return [_build(self, c, about[c.parts]) for c in self.wanted]


def read_series(log: Log, case_type: str, code: str) -> Series:
    """The series of one characteristic; UnknownNameError if the case type or characteristic isn't there."""
    with log.reading() as use:
        read = _read(use, case_type, lambda sheet: (sheet.characteristic(code),))
        recorded = changes_in(use)
    return replace(read.series()[0], changes=recorded)


def read_all(log: Log, case_type: str) -> list[Series]:
    """The series of every characteristic of a case type that is in numbers, from one read of the log."""
    return read_case_type(log, case_type).series()


def read_case_type(log: Log, case_type: str) -> CaseTypeRead:
    """What the series of every characteristic of a case type that is in numbers rest on."""
    with log.reading() as use:
        return _read(use, case_type, lambda sheet: tuple(c for c in sheet.characteristics if not c.in_words))


def left_outside(log: Log, case_type: str) -> list[tuple[str, str, str]]:
    """(job, what, how) of the final values of a case type outside the limits of their day, jobs in work too."""
    return [
        (row["job"], series.characteristic.name, f"{'below' if row['verdict'] == LOW else 'above'} its limit")
        for series in read_all(log, case_type)
        for row in series.rows.filter((pl.col("stage") == "final") & pl.col("verdict").is_in([LOW, HIGH])).to_dicts()
    ]


def _read(use: Use, case_type: str, choose: Callable[[Sheet], tuple[Characteristic, ...]]) -> CaseTypeRead:
    versions = tuple(sheets.versions(use, case_type))
    sheet = version_at(versions, use.moment).sheet
    wanted = choose(sheet)
    codes = sorted({code for c in wanted for code in codes_needed(sheet, c)})
    return CaseTypeRead(
        sheet,
        wanted,
        versions,
        readings=use.frame("readings_that_count", case_type=sheet.code, codes=codes),
        jobs=use.frame("jobs_of_type", case_type=sheet.code),
        parts=use.frame("parts_of_type", case_type=sheet.code),
        zone=sheets.timezone_of(use),
    )


def _build(read: CaseTypeRead, characteristic: Characteristic, about: pl.DataFrame) -> Series:
    rows = work_out_rows(read.sheet, characteristic, read.readings).join(about, on="job", how="left")
    rows = rows.sort("taken_at", "entry", "job")
    rows = rows.with_columns(verdict=judge_rows(characteristic, read.versions, rows, read.readings))
    return Series(read.sheet, characteristic, rows, read.zone, read.versions)


def _about(parts_of_it: tuple[str, ...], jobs: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """What a series tells of each job: its case, and the condition of the parts it depends on (as
    `condition_of_parts`, for all jobs).
    """
    reused = parts.filter(pl.col("part").is_in(list(parts_of_it)) & (pl.col("condition") == "reused"))["job"].unique()
    condition = pl.when(pl.col("job").is_in(reused.implode())).then(pl.lit("reused")).otherwise(pl.lit("new"))
    return jobs.select(
        "job",
        "machining_batch",
        "case_serial",
        "rebuild",
        "variant",
        "dispatched",
        machined=pl.col("machining_batch").is_not_null(),
        condition=condition if parts_of_it else pl.lit(None, dtype=pl.String),
    )
