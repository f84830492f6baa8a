"""A characteristic of a case type over time: who is comparable with whom, centre, limits, and what stands out."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.moments import show_moment, write_moment
from qclog.domain.sheets.casetypes import Characteristic, Limits, Sheet
from qclog.errors import InputError
from qclog.measures.columns import limits_of_rows
from qclog.measures.intervals import drawn_column, open_column
from qclog.measures.judging import CLOSE, HIGH, LOW
from qclog.services.keeping.changes import change_text
from qclog.services.series.case_limits import CaseLimits, set_limits
from qclog.services.series.chart_eras import Era, split
from qclog.services.series.series import Series, read_series
from qclog.stats.base.summary import Summary, summarise
from qclog.stats.charts.limits import IndividualsLimits
from qclog.store.log import Log
from qclog.words.numbers import limits_text


@dataclass(frozen=True, slots=True)
class Group:
    """Units that may be compared: one stage, parts new or re-used, cases machined or not; and how many there are."""

    stage: str
    condition: str | None
    machined: bool
    n: int

    @property
    def words(self) -> str:
        """The group as a person would say it."""
        parts = {"new": "new parts", "reused": "re-used parts", None: ""}[self.condition]
        cases = "machined cases" if self.machined else "unmachined cases"
        return ", ".join(word for word in (STAGE_WORDS[self.stage], parts, cases) if word)


@dataclass(frozen=True, slots=True)
class LimitStep:
    """Units that follow each other and are judged by the same limits (None: by none): the place of the first, and n."""

    limits: Limits | None
    first: int
    n: int


@dataclass(frozen=True, slots=True)
class CaseChart:
    """One group's chart. `rows` are those of `series.Series` of which something is known, plus `note` on what stands
    out, `era`, and `open`: `below` or `above` where `value` is only the end that is known, and else empty.

    `limits` is None with fewer than two values; `limits.enough` says whether there are enough to draw them.
    `by_intervals`: the limits come from the intervals that coarse readings stand for; what is drawn are middles.
    After a recorded change limits, mean and spread are of the units since the last one; `eras` has each stretch with
    its own limits, the oldest first, and is empty where nothing changed. `steps`: the workshop's limits as each unit
    is judged by them, the last with no unit where they changed since.
    """

    sheet: Sheet
    characteristic: Characteristic
    group: Group
    groups: tuple[Group, ...]
    rows: pl.DataFrame
    without_value: int
    summary: Summary | None
    limits: IndividualsLimits | None
    specification: Limits | None
    limit_set: str | None
    forced: bool
    by_intervals: bool
    warnings: tuple[str, ...]
    zone: ZoneInfo
    eras: tuple[Era, ...] = ()
    steps: tuple[LimitStep, ...] = ()

    @property
    def n(self) -> int:
        """How many units limits, mean and spread are of: those since the last recorded change."""
        return self.eras[-1].n if self.eras else len(self.rows)

    @property
    def mean(self) -> float | None:
        """The mean: of the readings, or of what their intervals stand for; None without readings."""
        if self.by_intervals and self.limits is not None:
            return self.limits.centre
        return self.summary.mean if self.summary else None

    @property
    def spread(self) -> float | None:
        """The standard deviation, likewise; None with fewer than two readings."""
        if self.by_intervals and self.limits is not None:
            return self.limits.sigma
        return self.summary.sd if self.summary else None

    @property
    def drawn(self) -> IndividualsLimits | None:
        """The control limits, when there are enough readings for them."""
        return self.limits if self.limits is not None and self.limits.enough else None

    @property
    def flagged(self) -> pl.DataFrame:
        """The rows that stand out, in time order."""
        return self.rows.filter(pl.col("note") != "")


def chart_case(
    log: Log,
    case_type: str,
    code: str,
    *,
    stage: str | None = None,
    condition: str | None = None,
    machined: bool | None = None,
) -> CaseChart:
    """The chart of one characteristic for one group of comparable units.

    What is not chosen falls to the largest group that fits. InputError for a characteristic in words or a group
    that is not there; UnknownNameError for an unknown name.
    """
    return chart_series(read_series(log, case_type, code), stage=stage, condition=condition, machined=machined)


def chart_series(
    series: Series,
    *,
    stage: str | None = None,
    condition: str | None = None,
    machined: bool | None = None,
) -> CaseChart:
    """As `chart_case`, from a series already read."""
    characteristic = series.characteristic
    if characteristic.in_words:
        raise InputError(
            f"{characteristic.name} is read in words, so it has no chart",
            field="characteristic",
            found=characteristic.code,
            hint="choose one that is a number",
        )
    groups = groups_of(series)
    group = _choose(groups, characteristic, stage, condition, machined)
    mine = series.rows.filter(
        (pl.col("stage") == group.stage)
        & pl.col("condition").eq_missing(pl.lit(group.condition, dtype=pl.String))
        & (pl.col("machined") == group.machined)
    )
    rows = mine.with_columns(value=drawn_column(), open=open_column()).drop_nulls("value")
    rows, eras = split(series.changes, series.sheet.code, characteristic, rows)
    found = eras[-1].found if eras else set_limits(characteristic, rows)
    recent = rows.slice(eras[-1].first) if eras else rows
    chosen = characteristic.limit_set(group.stage, group.condition)
    return CaseChart(
        sheet=series.sheet,
        characteristic=characteristic,
        group=group,
        groups=groups,
        rows=rows.with_columns(
            note=_notes_by_era(characteristic, rows, eras) if eras else _notes(characteristic, rows, found)
        ),
        without_value=len(mine) - len(rows),
        summary=_summary(recent),
        limits=found.limits,
        specification=chosen[1] if chosen else None,
        limit_set=chosen[0] if chosen else None,
        forced=group.stage in characteristic.forced_at,
        by_intervals=found.by_intervals,
        warnings=(*_since(eras, series.zone), *found.notes, *_changed_limits(series, group)),
        zone=series.zone,
        eras=eras,
        steps=_steps(series, rows, chosen[1] if chosen else None),
    )


def _steps(series: Series, rows: pl.DataFrame, now: Limits | None) -> tuple[LimitStep, ...]:
    asked = limits_of_rows(series.characteristic.code, series.versions, rows) if len(rows) else []
    found: list[LimitStep] = []
    for limits, units in itertools.groupby(asked):
        found.append(LimitStep(limits, found[-1].first + found[-1].n if found else 0, len(list(units))))
    if (found[-1].limits if found else None) != now:
        found.append(LimitStep(now, len(rows), 0))
    return tuple(found)


def _summary(rows: pl.DataFrame) -> Summary | None:
    """Of the numbers; None where there are none, or where some rows are open on a side and so are no numbers."""
    return summarise(rows["value"]) if len(rows) and not (rows["open"] != "").any() else None


def groups_of(series: Series) -> tuple[Group, ...]:
    """The groups that have readings, the largest first."""
    counted = series.rows.group_by("stage", "condition", "machined").len()
    groups = [Group(s, c, m, n) for s, c, m, n in counted.rows()]
    order = ("final", "trial", "as_found", "return")
    return tuple(sorted(groups, key=lambda g: (-g.n, order.index(g.stage), g.machined, g.condition or "")))


def _choose(
    groups: tuple[Group, ...],
    characteristic: Characteristic,
    stage: str | None,
    condition: str | None,
    machined: bool | None,
) -> Group:
    fitting = [
        g
        for g in groups
        if (stage is None or g.stage == stage)
        and (condition is None or g.condition == condition)
        and (machined is None or g.machined == machined)
    ]
    # A stage forced by choice of shim says least about the case, so it is shown only when asked for.
    fitting.sort(key=lambda g: g.stage in characteristic.forced_at)
    if fitting:
        return fitting[0]
    if not groups:
        return Group(stage or characteristic.stages[0], condition, bool(machined), 0)
    raise InputError(
        f"there are no readings of {characteristic.name} in that group",
        field="group",
        found=Group(stage or groups[0].stage, condition, bool(machined), 0).words,
        hint="there are: " + "; ".join(f"{g.words} (n = {g.n})" for g in groups),
    )


def _notes_by_era(characteristic: Characteristic, rows: pl.DataFrame, eras: tuple[Era, ...]) -> pl.Series:
    return pl.concat([_notes(characteristic, rows.slice(era.first, era.n), era.found) for era in eras])


def _since(eras: tuple[Era, ...], zone: ZoneInfo) -> tuple[str, ...]:
    """A sentence on the last recorded change, from which the limits begin."""
    if not eras or eras[-1].change is None:
        return ()
    last = eras[-1].change
    count = f"{eras[-1].n} unit{'' if eras[-1].n == 1 else 's'}"
    return (
        f"limits, mean and spread are of the {count} since {show_moment(last.since, zone)[:10]}"
        f" ({change_text(last)}); earlier units keep their own",
    )


def _notes(characteristic: Characteristic, rows: pl.DataFrame, found: CaseLimits) -> pl.Series:
    """What stands out about each row, in words; empty for most."""
    at = "at a place " if characteristic.positions and not characteristic.judged_whole else ""
    verdict = pl.col("verdict")
    control = (
        pl.when(pl.lit(pl.Series(found.above)))
        .then(pl.lit("above the control limit"))
        .when(pl.lit(pl.Series(found.below)))
        .then(pl.lit("below the control limit"))
    )
    specification = (
        pl.when(verdict == HIGH)
        .then(pl.lit(f"{at}above the workshop's limit"))
        .when(verdict == LOW)
        .then(pl.lit(f"{at}below the workshop's limit"))
        .when(verdict == CLOSE)
        .then(pl.lit(f"{at}too close to the workshop's limit to call"))
    )
    return rows.select(note=pl.concat_str([control, specification], separator="; ", ignore_nulls=True))["note"]


def _changed_limits(series: Series, group: Group) -> tuple[str, ...]:
    """A sentence where earlier versions of the sheet had other limits, by which earlier readings are judged."""
    texts: list[tuple[str, datetime | None]] = []
    for version in sorted(series.versions, key=lambda v: (v.since is not None, v.since or datetime.min)):
        c = next((c for c in version.sheet.characteristics if c.code == series.characteristic.code), None)
        chosen = c.limit_set(group.stage, group.condition) if c else None
        text = limits_text(chosen[1]) if chosen else ""
        if not texts or texts[-1][0] != text:
            texts.append((text, version.since))
    if len(texts) < 2:
        return ()
    before = "; ".join(
        f"{text or 'none'} until {show_moment(until, series.zone)[:10]}"
        for (text, _), (_, until) in itertools.pairwise(texts)
    )
    return (f"the workshop's limits changed: {before}. Each reading is judged by those of its day",)


def as_json(chart: CaseChart) -> dict[str, Any]:
    """The chart as plain values for `--json`."""
    limits, specification = chart.limits, chart.specification
    return {
        "case_type": chart.sheet.code,
        "characteristic": chart.characteristic.code,
        "unit": chart.characteristic.unit,
        "stage": chart.group.stage,
        "parts": chart.group.condition,
        "machined": chart.group.machined,
        "n": len(chart.rows),
        "n_since_change": chart.n,
        "forced": chart.forced,
        "mean": chart.mean,
        "sd": chart.spread,
        "median": chart.summary.median if chart.summary else None,
        "control": None
        if limits is None
        else {
            "enough": limits.enough,
            "centre": limits.centre,
            "lower": limits.lower,
            "upper": limits.upper,
            "sigma": limits.sigma,
            "mean_moving_range": None if chart.by_intervals else limits.mean_moving_range,
            "moving_range_upper": None if chart.by_intervals else limits.moving_range_upper,
            "method": limits.method,
            "constant": limits.constant,
        },
        "specification": None
        if specification is None
        else {
            "set": chart.limit_set,
            "nominal": specification.nominal,
            "lower": specification.lower,
            "upper": specification.upper,
        },
        "eras": [_era_as_json(era, chart.zone) for era in chart.eras],
        "warnings": list(chart.warnings),
        "groups": [{"stage": g.stage, "parts": g.condition, "machined": g.machined, "n": g.n} for g in chart.groups],
        "readings": [
            {
                "job": row["job"],
                "taken_at": write_moment(row["taken_at"], chart.zone),
                "value": None if row["open"] else row["value"],
                "low": row["low"],
                "high": row["high"],
                "verdict": row["verdict"],
                "note": row["note"],
            }
            for row in chart.rows.iter_rows(named=True)
        ],
    }


def _era_as_json(era: Era, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "since": write_moment(era.change.since, zone) if era.change else None,
        "change": change_text(era.change) if era.change else None,
        "n": era.n,
        "centre": era.drawn.centre if era.drawn else None,
        "lower": era.drawn.lower if era.drawn else None,
        "upper": era.drawn.upper if era.drawn else None,
    }
