"""The units of a chart side by side, by batch, lot, gauge, technician, rebuild or month; and two periods.

What is seen here was not allowed for among everything else that might have been looked at; findings are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import polars as pl

from qclog.errors import InputError, StatisticsError
from qclog.services.series import pictures
from qclog.services.series.case_chart import CaseChart
from qclog.stats.compare.groups import compare_ranks
from qclog.stats.compare.two_means import TwoMeans, compare_two_means
from qclog.store.log import Log

BY = {
    "machining batch": "machining_batch",
    "lot": "lot",
    "gauge": "gauge",
    "technician": "technician",
    "rebuild": "rebuild",
    "month": "month",
}
FEWEST = 3
PLAIN = 0.01


@dataclass(frozen=True, slots=True)
class Level:
    """The units of one batch, lot, gauge ...: how many, their mean and spread (None for a single one), how many stand
    out, first and last day.
    """

    name: str
    n: int
    mean: float
    spread: float | None
    out: int
    first: datetime
    last: datetime


@dataclass(frozen=True, slots=True)
class SideBySide:
    """`rows`: one per unit and level it belongs to, with columns level, value, job, note. `text` says whether the
    levels differ by more than luck explains, with n.
    """

    by: str
    levels: tuple[Level, ...]
    rows: pl.DataFrame
    text: str


def compare(log: Log, chart: CaseChart, by: str) -> SideBySide:
    """The chart's units by one of `BY`. InputError for another word."""
    if by not in BY:
        raise InputError(f"units can be set side by side by {', '.join(BY)}", field="by", found=by)
    rows = _with_levels(log, chart, by).drop_nulls("level").sort("level", "taken_at")
    levels = []
    for (name,), mine in rows.partition_by("level", as_dict=True, maintain_order=True).items():
        values = mine["value"].to_numpy()
        spread = float(values.std(ddof=1)) if len(values) > 1 else None
        first, last = mine["taken_at"].min(), mine["taken_at"].max()
        assert isinstance(first, datetime) and isinstance(last, datetime)  # noqa: S101 - a column of times
        levels.append(
            Level(str(name), len(mine), float(values.mean()), spread, int((mine["note"] != "").sum()), first, last)
        )
    return SideBySide(by, tuple(levels), rows.select("level", "value", "job", "note"), _text(levels, rows, by))


def _with_levels(log: Log, chart: CaseChart, by: str) -> pl.DataFrame:
    rows = chart.rows
    if by == "lot":
        kinds = list(chart.characteristic.parts)
        with log.reading() as use:
            parts = use.frame("parts_of_type", case_type=chart.sheet.code)
        if kinds:
            parts = parts.filter(pl.col("part").is_in(kinds))
        return rows.join(parts.select("job", level="lot").drop_nulls().unique(), on="job")
    if by == "month":
        local = pl.col("taken_at").dt.replace_time_zone("UTC").dt.convert_time_zone(str(chart.zone))
        return rows.with_columns(level=local.dt.strftime("%Y-%m"))
    if by == "rebuild":
        said = pl.format("rebuild {}", pl.col("rebuild"))
        return rows.with_columns(level=pl.when(pl.col("rebuild").is_not_null()).then(said))
    return rows.with_columns(level=pl.col(BY[by]))


def _text(levels: list[Level], rows: pl.DataFrame, by: str) -> str:
    enough = [level.name for level in levels if level.n >= FEWEST]
    if len(enough) < 2:
        return f"Too few to compare: it takes two with {FEWEST} units each."
    groups = [rows.filter(pl.col("level") == name)["value"].to_numpy() for name in enough]
    try:
        test = compare_ranks(groups)
    except StatisticsError as error:
        return f"They can't be compared: {error.message}."
    of = f"{len(enough)} with {FEWEST} units or more, n = {sum(len(g) for g in groups)}"
    p = f"{test.p_value:.2g}" if test.p_value >= 0.001 else "under 0.001"
    if test.p_value > PLAIN:
        return f"No more different than luck explains ({of}; rank test, p = {p})."
    caution = " It says where to look, not who is to blame." if by == "technician" else ""
    return (
        f"More different than luck explains on this chart alone ({of}; rank test, p = {p}).{caution}"
        " The findings, which allow for everything that is looked at, decide."
    )


@dataclass(frozen=True, slots=True)
class Periods:
    """Two stretches of days side by side; `two` is None where either has fewer than two units."""

    before: int
    after: int
    two: TwoMeans | None
    text: str


def compare_periods(chart: CaseChart, first: tuple[date, date], second: tuple[date, date]) -> Periods:
    """The chart's units of two stretches of days (both ends in it), in the workshop's time.

    InputError for a stretch that ends before it begins, or two that overlap.
    """
    for begin, end in (first, second):
        if end < begin:
            raise InputError("a period ends before it begins", field="period", found=f"{begin} to {end}")
    if first[0] <= second[1] and second[0] <= first[1]:
        raise InputError("the two periods overlap", field="period", found=f"{second[0]} to {second[1]}")
    one, two = (_within(chart, *period) for period in (first, second))
    if min(len(one), len(two)) < 2:
        return Periods(len(one), len(two), None, f"Too few to compare: n = {len(one)} and {len(two)}.")
    found = compare_two_means(one, two)
    low, high = (pictures.with_unit(chart, pictures.figure(chart, x)) for x in (found.lower, found.upper))
    moved = f"moved by {found.difference:+.{_decimals(chart)}f} {chart.characteristic.unit}"
    text = f"The mean {moved} (95 % interval {low} to {high}; n = {len(one)} and {len(two)})"
    luck = found.lower <= 0 <= found.upper
    return Periods(len(one), len(two), found, text + (", which luck explains as well." if luck else "."))


def _decimals(chart: CaseChart) -> int:
    text = pictures.figure(chart, 0.0)
    return len(text.partition(".")[2])


def _within(chart: CaseChart, begin: date, end: date) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    since, until = (
        datetime.combine(day, time(), tzinfo=chart.zone).astimezone(UTC).replace(tzinfo=None)
        for day in (begin, end + timedelta(days=1))
    )
    inside = chart.rows.filter(pl.col("taken_at").is_between(since, until, closed="left"))
    return inside["value"].to_numpy()
