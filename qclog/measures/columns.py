"""What a characteristic is worth in every job of a case type: `derivation.value_at` with arrays over the jobs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from qclog.domain.sheets.casetypes import Characteristic, Limits, Sheet, Version, version_at
from qclog.domain.sheets.ranges import Range
from qclog.measures.derivation import Key, codes_needed, value_at
from qclog.measures.intervals import number_column
from qclog.measures.judging import NOT_JUDGED, judge_columns, slack_of, worst_column

if TYPE_CHECKING:
    import numpy.typing as npt
    from polars._typing import PolarsDataType

    Column = npt.NDArray[np.float64]


def work_out_rows(sheet: Sheet, characteristic: Characteristic, readings: pl.DataFrame) -> pl.DataFrame:
    """One row per job and stage at which something is known of the characteristic.

    Parameters
    ----------
    readings : those that count, with columns job, characteristic, stage, position, low, high (null: open), taken_at,
        entry, gauge, technician; of other characteristics too if a formula needs them.

    Returns
    -------
    Columns job, stage, taken_at and entry (of the last reading used), value (NaN where an end is open, or none was
    taken), low, high (null: open), positions (how many were read), gauge, technician (one name, or the first and last).
    """
    used = readings.filter(pl.col("characteristic").is_in(sorted(codes_needed(sheet, characteristic))))
    if not characteristic.derived and not characteristic.positions and used["position"].n_unique() <= 1:
        return _at_one_place(used)
    if not characteristic.derived and characteristic.over_positions in GROUPED:
        return over_places(used, ["job", "stage"], characteristic.over_positions)
    return _worked_out(sheet, _with_places_found(characteristic, used), used)


def _at_one_place(readings: pl.DataFrame) -> pl.DataFrame:
    return readings.select(
        "job",
        "stage",
        "taken_at",
        "entry",
        value=number_column().fill_null(float("nan")),
        low="low",
        high="high",
        positions=_is_read().cast(pl.Int64),
        gauge="gauge",
        technician="technician",
    )


GROUPED = ("mean", "max", "min", "spread")
"""What positions may amount to that does not depend on their order, so that many series can be grouped at once."""


def over_places(readings: pl.DataFrame, by: Sequence[str], over_positions: str) -> pl.DataFrame:
    """One row for each group of readings of one characteristic, job and stage: `ranges.across` for one of GROUPED.

    The columns are those of `work_out_rows` after `by`.
    """
    number = number_column()
    read = readings.filter(_is_read()).with_columns(
        pl.col("low").fill_null(-np.inf),
        pl.col("high").fill_null(np.inf),
        number_low=pl.coalesce(number, "low", pl.lit(-np.inf)),
        number_high=pl.coalesce(number, "high", pl.lit(np.inf)),
    )
    ends = _across(over_positions, "low", "high")
    numbers = _across(over_positions, "number_low", "number_high")
    worth = read.group_by(by).agg(
        low=ends[0], high=ends[1], value=pl.when(numbers[0] == numbers[1]).then(numbers[0]).otherwise(float("nan"))
    )
    found = _told(readings, *by).join(worth, on=list(by), how="left", nulls_equal=True)
    return found.select(
        *by,
        "taken_at",
        "entry",
        pl.col("value").fill_null(float("nan")),
        *(pl.when(pl.col(c).is_finite()).then(c).alias(c) for c in ("low", "high")),
        "positions",
        "gauge",
        "technician",
    )


def _across(over_positions: str, low: str, high: str) -> tuple[pl.Expr, pl.Expr]:
    lows, highs = pl.col(low), pl.col(high)
    if over_positions == "mean":
        return lows.mean(), highs.mean()
    if over_positions == "max":
        return lows.max(), highs.max()
    if over_positions == "min":
        return lows.min(), highs.min()
    several = pl.len() > 1
    least = pl.max_horizontal(lows.max() - highs.min(), pl.lit(0.0))
    return pl.when(several).then(least), pl.when(several).then(highs.max() - lows.min())


def _with_places_found(characteristic: Characteristic, readings: pl.DataFrame) -> Characteristic:
    """With the positions of earlier sheets, or none, at which readings stand too."""
    if characteristic.derived:
        return characteristic
    others = readings["position"].unique(maintain_order=True).to_list()
    return replace(characteristic, positions=tuple(dict.fromkeys((*characteristic.positions, *others))))


def _worked_out(sheet: Sheet, characteristic: Characteristic, used: pl.DataFrame) -> pl.DataFrame:
    jobs = used["job"].unique(maintain_order=True)
    index = pl.DataFrame({"job": jobs, "at": pl.int_range(len(jobs), eager=True)})
    numbers, ends = _ranges(used, index, len(jobs))
    of_any = _told(used, "job")
    of_stage = _told(used, "job", "stage")
    stages = characteristic.stages if characteristic.derived else used["stage"].unique(maintain_order=True).to_list()
    frames = []
    nothing = Range(np.full(len(jobs), np.nan), np.full(len(jobs), np.nan))
    for stage in stages:
        worth = value_at(sheet, characteristic, stage, numbers, nothing)
        known = worth if characteristic.derived else value_at(sheet, characteristic, stage, ends, nothing)
        frame = pl.DataFrame(
            {
                "job": jobs,
                "value": np.where(_wide(worth.low, len(jobs)) == worth.high, worth.low, np.nan),
                "low": _wide(known.low, len(jobs)),
                "high": _wide(known.high, len(jobs)),
            }
        )
        frame = frame.with_columns(pl.when(pl.col(c).is_finite()).then(c).alias(c) for c in ("low", "high"))
        told = of_stage.filter(pl.col("stage") == stage).drop("stage")
        if characteristic.derived:
            frame = frame.filter(_is_read()).join(told, on="job", how="left").join(of_any, on="job", suffix="_any")
            frame = frame.with_columns(pl.coalesce(c, f"{c}_any").alias(c) for c in _TOLD)
            frame = frame.with_columns(positions=pl.lit(1, dtype=pl.Int64))
        else:
            frame = frame.join(told, on="job")
        frames.append(frame.select("job", pl.lit(stage).alias("stage"), *_ROW))
    return pl.concat(frames) if frames else pl.DataFrame(schema=_SCHEMA)


_MOMENT = timedelta(microseconds=1)
_TOLD = ("taken_at", "entry", "gauge", "technician")
_ROW = ("taken_at", "entry", "value", "low", "high", "positions", "gauge", "technician")
_SCHEMA: dict[str, PolarsDataType] = {
    "job": pl.String,
    "stage": pl.String,
    "taken_at": pl.Datetime("us"),
    "entry": pl.Int64,
    "value": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "positions": pl.Int64,
    "gauge": pl.String,
    "technician": pl.String,
}


def _told(readings: pl.DataFrame, *by: str) -> pl.DataFrame:
    """When, by which entry, with what and by whom each group of readings was taken, and at how many places."""
    return readings.group_by(by).agg(
        pl.col("taken_at").max(),
        pl.col("entry").max(),
        _named("gauge"),
        _named("technician"),
        positions=_is_read().sum().cast(pl.Int64),
    )


def _named(column: str) -> pl.Expr:
    """Who or what a group of readings was taken with: one name, or the first and last in order; null for none."""
    first, last = pl.col(column).min(), pl.col(column).max()
    return pl.when(first == last).then(first).otherwise(first + ", " + last).alias(column)


def _is_read() -> pl.Expr:
    return pl.col("low").is_not_null() | pl.col("high").is_not_null()


def _wide(column: object, n: int) -> Column:
    return np.broadcast_to(np.asarray(column, dtype=float), (n,))


def _ranges(used: pl.DataFrame, index: pl.DataFrame, n: int) -> tuple[dict[Key, Range], dict[Key, Range]]:
    """For each place, a range of arrays over jobs: closed readings as their numbers; and as their own ends."""
    numbers, ends = {}, {}
    at_jobs = used.join(index, on="job").filter(_is_read())
    number = number_column()
    frame = at_jobs.select(
        "characteristic",
        "stage",
        "position",
        "at",
        low=pl.col("low").fill_null(-np.inf),
        high=pl.col("high").fill_null(np.inf),
        number_low=pl.coalesce(number, pl.col("low"), pl.lit(-np.inf)),
        number_high=pl.coalesce(number, pl.col("high"), pl.lit(np.inf)),
    )
    for (code, stage, position), part in frame.partition_by(
        "characteristic", "stage", "position", as_dict=True, include_key=False
    ).items():
        where = part["at"].to_numpy()
        arrays = {}
        for name in ("low", "high", "number_low", "number_high"):
            array = np.full(n, np.nan)
            array[where] = part[name].to_numpy()
            arrays[name] = array
        key = (str(code), str(stage), str(position))
        numbers[key] = Range(arrays["number_low"], arrays["number_high"])
        ends[key] = Range(arrays["low"], arrays["high"])
    return numbers, ends


def judge_rows(
    characteristic: Characteristic,
    versions: Sequence[Version],
    rows: pl.DataFrame,
    readings: pl.DataFrame,
) -> pl.Series:
    """How each row of `work_out_rows`, with a column `condition`, stands to the limits in force when it was taken.

    Where each reading has the limits to keep, a unit is as its worst reading is; else its worth over all positions
    counts, or what is worked out. `readings` are those the rows rest on.
    """
    if characteristic.in_words or rows.is_empty():
        return pl.Series("verdict", [NOT_JUDGED] * len(rows), dtype=pl.String)
    if characteristic.derived or characteristic.judged_whole or not characteristic.positions:
        return pl.Series("verdict", _judged(characteristic.code, versions, rows), dtype=pl.String)
    own = readings.filter((pl.col("characteristic") == characteristic.code) & _is_read())
    own = own.join(rows.select("job", "condition").unique("job"), on="job")
    own = own.with_columns(verdict=pl.Series(_judged(characteristic.code, versions, own), dtype=pl.String))
    worst = own.group_by("job", "stage").agg(verdict=worst_column("verdict"))
    found = rows.select("job", "stage").join(worst, on=["job", "stage"], how="left", maintain_order="left")
    return found["verdict"].fill_null(NOT_JUDGED)


def _judged(code: str, versions: Sequence[Version], rows: pl.DataFrame) -> list[str]:
    verdicts = np.full(len(rows), NOT_JUDGED, dtype=object)
    low = rows["low"].fill_null(-np.inf).to_numpy()
    high = rows["high"].fill_null(np.inf).to_numpy()
    for those, characteristic, limits in _by_limits(code, versions, rows):
        verdicts[those] = judge_columns(low[those], high[those], limits, slack=slack_of(characteristic.step))
    return [str(v) for v in verdicts]


def limits_of_rows(code: str, versions: Sequence[Version], rows: pl.DataFrame) -> list[Limits | None]:
    """The limits that each row of `work_out_rows`, with a column `condition`, is judged by; None: by none."""
    found: list[Limits | None] = [None] * len(rows)
    for those, _, limits in _by_limits(code, versions, rows):
        for at in np.flatnonzero(those):
            found[at] = limits
    return found


def _by_limits(
    code: str, versions: Sequence[Version], rows: pl.DataFrame
) -> Iterator[tuple[npt.NDArray[np.bool_], Characteristic, Limits]]:
    which = version_numbers(versions, rows["taken_at"], rows["entry"])
    stage, condition = rows["stage"].to_numpy(), rows["condition"].fill_null("").to_numpy()
    kinds = pl.DataFrame({"v": which, "s": rows["stage"], "c": rows["condition"].fill_null("")}).unique().sort("v")
    for v, s, c in kinds.rows():
        found = next((x for x in versions[v].sheet.characteristics if x.code == code), None)
        chosen = found.limit_set(s, c or None) if found else None
        if found is not None and chosen is not None and (chosen[1].lower is not None or chosen[1].upper is not None):
            yield (which == v) & (stage == s) & (condition == c), found, chosen[1]


def version_numbers(versions: Sequence[Version], moments: pl.Series, entries: pl.Series) -> npt.NDArray[np.int64]:
    """Which of `versions` was in force at each moment and known by each entry, as `casetypes.version_at` says."""
    if len(versions) == 1:
        return np.zeros(len(moments), dtype=np.int64)
    learnt = sorted({v.entry for v in versions})
    knew = np.searchsorted(np.array(learnt), entries.to_numpy(), side="right")
    found = np.empty(len(moments), dtype=np.int64)
    for stretch in np.unique(knew):
        those = knew == stretch
        known = [i for i, v in enumerate(versions) if not stretch or v.entry <= learnt[stretch - 1]]
        found[those] = np.array(known)[_in_force([versions[i] for i in known], moments.filter(pl.Series(those)))]
    return found


def _in_force(versions: Sequence[Version], moments: pl.Series) -> npt.NDArray[np.int64]:
    begins = sorted({v.since for v in versions if v.since is not None})
    at = {id(v): i for i, v in enumerate(versions)}
    first = version_at(versions, begins[0] - _MOMENT) if begins else version_at(versions, moments[0])
    order = [at[id(first)], *(at[id(version_at(versions, since))] for since in begins)]
    edges = np.array(begins, dtype="datetime64[us]")
    stretch = np.searchsorted(edges, moments.cast(pl.Datetime("us")).to_numpy().astype("datetime64[us]"), side="right")
    return np.asarray(order, dtype=np.int64)[stretch]
