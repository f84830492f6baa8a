"""A characteristic over the jobs of a case type: one row per job and stage, read or worked out, judged.

New and re-used parts, stages, and machined and unmachined cases are told apart by columns, never pooled here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from qclog.domain import formula
from qclog.domain.casetypes import Characteristic, Sheet, Version, stage_for, version_at
from qclog.domain.findings import Change
from qclog.domain.judging import CLOSE, HIGH, INSIDE, LOW, NOT_JUDGED, slack_of
from qclog.domain.moments import now
from qclog.services import sheets
from qclog.store.findings import changes_in
from qclog.store.log import Log, Use


@dataclass(frozen=True, slots=True)
class Series:
    """`rows`: one row per job and stage, in time order, with columns

    job, stage, taken_at, entry, value (middle of the readings, mean over positions, in the characteristic's
    unit; NaN where none was taken), low, high (the same of the ends), positions (how many were read), gauge,
    technician, condition (new, reused or null), machined, machining_batch, case_serial, rebuild, variant, verdict.
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


def _raw(use: Use, sheet: Sheet, wanted: Sequence[Characteristic]) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    codes = sorted({code for c in wanted for code in needed_codes(sheet, c)})
    return (
        use.frame("readings_that_count", case_type=sheet.code, codes=codes),
        use.frame("jobs_of_type", case_type=sheet.code),
        use.frame("parts_of_type", case_type=sheet.code),
    )


def needed_codes(sheet: Sheet, characteristic: Characteristic) -> set[str]:
    """The read characteristics that `characteristic` rests on: itself, or what its formula uses, all the way down."""
    if characteristic.formula is None:
        return {characteristic.code}
    found: set[str] = set()
    for name in formula.names(formula.parse(characteristic.formula)):
        found |= needed_codes(sheet, sheet.characteristic(name.code))
    return found


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
    rows = (
        work_out_series(sheet, characteristic, readings) if characteristic.derived else _read(characteristic, readings)
    )
    rows = rows.join(
        jobs.select("job", "machining_batch", "case_serial", "rebuild", "variant", "dispatched"), on="job", how="left"
    )
    rows = rows.with_columns(machined=pl.col("machining_batch").is_not_null())
    rows = rows.join(_conditions(characteristic, jobs, parts), on="job", how="left").sort("taken_at", "entry", "job")
    rows = rows.with_columns(verdict=_verdicts(characteristic, versions, rows))
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


def _middle() -> pl.Expr:
    """A number to draw for an interval: its middle; its one known end; half the smallest leaf where none enters."""
    middle = (pl.col("low") + pl.col("high")) / 2
    return middle.fill_null(pl.coalesce("low", pl.when(pl.col("high") > 0).then(pl.col("high") / 2).otherwise("high")))


def _named(column: str) -> pl.Expr:
    """Who or what a group of readings was taken with: one name, or the first and last in order; null for none."""
    first, last = pl.col(column).min(), pl.col(column).max()
    return pl.when(first == last).then(first).otherwise(first + ", " + last).alias(column)


def _read(characteristic: Characteristic, readings: pl.DataFrame) -> pl.DataFrame:
    mine = readings.filter(pl.col("characteristic") == characteristic.code)
    if not characteristic.positions and mine["position"].n_unique() <= 1:
        return mine.select(
            "job",
            "stage",
            "taken_at",
            "entry",
            value=_middle().fill_null(float("nan")),
            low="low",
            high="high",
            positions=(pl.col("low").is_not_null() | pl.col("high").is_not_null()).cast(pl.Int64),
            gauge="gauge",
            technician="technician",
        )
    return over_positions(mine, ["job", "stage"])


def over_positions(readings: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """One row per group: the mean over its positions, the last moment, and who and what it was taken with."""
    return readings.group_by(by).agg(
        _named("gauge"),
        _named("technician"),
        taken_at=pl.col("taken_at").max(),
        entry=pl.col("entry").max(),
        value=_middle().mean().fill_null(float("nan")),
        low=pl.col("low").mean(),
        high=pl.col("high").mean(),
        positions=_middle().count().cast(pl.Int64),
    )


def work_out_series(sheet: Sheet, characteristic: Characteristic, readings: pl.DataFrame) -> pl.DataFrame:
    """One row per job and stage at which the formula can be worked out."""
    mine = readings.filter(pl.col("characteristic").is_in(sorted(needed_codes(sheet, characteristic))))
    jobs = mine["job"].unique(maintain_order=True)
    index = {job: i for i, job in enumerate(jobs)}
    columns = _columns(mine.with_columns(value=_middle()), index)
    last = mine.group_by("job").agg(
        pl.col("taken_at").max(), pl.col("entry").max(), _named("gauge"), _named("technician")
    )
    by_stage = mine.group_by("job", "stage").agg(
        stage_taken=pl.col("taken_at").max(),
        stage_entry=pl.col("entry").max(),
        stage_gauge=_named("gauge"),
        stage_technician=_named("technician"),
    )
    results = []
    for stage in characteristic.stages:
        value = _values(sheet, characteristic, stage, columns, len(jobs))
        frame = pl.DataFrame({"job": jobs, "value": value}).filter(pl.col("value").is_not_nan())
        frame = (
            frame.with_columns(stage=pl.lit(stage)).join(last, on="job").join(by_stage, on=["job", "stage"], how="left")
        )
        results.append(
            frame.select(
                "job",
                "stage",
                taken_at=pl.coalesce("stage_taken", "taken_at"),
                entry=pl.coalesce("stage_entry", "entry"),
                value="value",
                low="value",
                high="value",
                positions=pl.lit(1, dtype=pl.Int64),
                gauge=pl.coalesce("stage_gauge", "gauge"),
                technician=pl.coalesce("stage_technician", "technician"),
            )
        )
    return pl.concat(results)


def _columns(mine: pl.DataFrame, index: dict[str, int]) -> dict[tuple[str, str, str], np.ndarray[Any, Any]]:
    """One array over jobs for each (characteristic, stage, position)."""
    columns: dict[tuple[str, str, str], np.ndarray[Any, Any]] = {}
    for key, part in mine.partition_by("characteristic", "stage", "position", as_dict=True).items():
        array = np.full(len(index), np.nan)
        where = part["job"].replace_strict(index, return_dtype=pl.Int64).to_numpy()
        array[where] = part["value"].fill_null(float("nan")).to_numpy()
        columns[(str(key[0]), str(key[1]), str(key[2]))] = array
    return columns


def _values(
    sheet: Sheet,
    characteristic: Characteristic,
    stage: str,
    columns: dict[tuple[str, str, str], np.ndarray[Any, Any]],
    n: int,
) -> np.ndarray[Any, Any]:
    """The derived characteristic at `stage` for every job, in its own unit."""
    by_code = {c.code: c for c in sheet.characteristics}

    def values_of(name: formula.Name) -> list[np.ndarray[Any, Any]]:
        used = by_code[name.code]
        at = stage_for(name, stage, used)
        if used.derived:
            return [_values(sheet, used, at, columns, n)]
        places = (name.position,) if name.position is not None else used.positions or ("",)
        empty = np.full(n, np.nan)
        return [columns.get((name.code, at, place), empty) for place in places]

    node = formula.parse(characteristic.formula or "")
    base = formula.work_out(node, values_of, lambda code: by_code[code].unit)
    return np.broadcast_to(np.asarray(base, dtype=float) / formula.to_base(characteristic.unit), (n,)).copy()


def _verdicts(latest: Characteristic, versions: Sequence[Version], rows: pl.DataFrame) -> pl.Series:
    """How each row stands to the limits in force when it was taken (see `judging.judge_interval`)."""
    verdict = np.full(len(rows), NOT_JUDGED, dtype=object)
    if len(rows) == 0 or latest.in_words:
        return pl.Series("verdict", verdict.tolist(), dtype=pl.String)
    which = _version_numbers(versions, rows)
    stage, condition = rows["stage"].to_numpy(), rows["condition"].fill_null("").to_numpy()
    low = rows["low"].fill_null(float("-inf")).to_numpy()
    high = rows["high"].fill_null(float("inf")).to_numpy()
    known = rows["low"].is_not_null().to_numpy() | rows["high"].is_not_null().to_numpy()
    for v, s, c in sorted(set(zip(which.tolist(), stage.tolist(), condition.tolist(), strict=True))):
        mine = (which == v) & (stage == s) & (condition == c) & known
        found = next((x for x in versions[v].sheet.characteristics if x.code == latest.code), None)
        chosen = found.limit_set(s, c or None) if found else None
        if chosen is None or (chosen[1].lower is None and chosen[1].upper is None):
            continue
        lower = -np.inf if chosen[1].lower is None else chosen[1].lower
        upper = np.inf if chosen[1].upper is None else chosen[1].upper
        slack = slack_of(found.step if found else None)
        point = low == high
        verdict[mine] = CLOSE
        verdict[mine & (low >= lower - slack) & (high <= upper + slack)] = INSIDE
        verdict[mine & np.where(point, low < lower - slack, high <= lower + slack)] = LOW
        verdict[mine & np.where(point, high > upper + slack, low >= upper - slack)] = HIGH
    return pl.Series("verdict", verdict.tolist(), dtype=pl.String)


def _version_numbers(versions: Sequence[Version], rows: pl.DataFrame) -> np.ndarray[Any, Any]:
    if len(versions) == 1:
        return np.zeros(len(rows), dtype=int)
    at = {id(v): i for i, v in enumerate(versions)}
    return np.array([at[id(version_at(versions, moment))] for moment in rows["taken_at"]])
