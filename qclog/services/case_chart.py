"""A characteristic of a case type over time: who is comparable with whom, centre, limits, and what stands out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain.casetypes import Characteristic, Limits, Sheet
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.judging import CLOSE, HIGH, LOW
from qclog.errors import InputError, TooFewError
from qclog.services.series import Series, read_series
from qclog.stats.coarse import step_warning
from qclog.stats.limits import IndividualsLimits, individuals
from qclog.stats.summary import Summary, summarise
from qclog.store.log import Log

TOO_FEW = 10


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
class CaseChart:
    """One group's chart. `rows` are those of `series.Series` with a value, plus `note` on what stands out.

    `limits` is None with fewer than two values; `limits.enough` says whether there are enough to draw them.
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
    warnings: tuple[str, ...]
    zone: ZoneInfo

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
    rows = mine.filter(pl.col("value").is_not_nan())
    limits = _limits(rows)
    chosen = characteristic.limit_set(group.stage, group.condition)
    return CaseChart(
        sheet=series.sheet,
        characteristic=characteristic,
        group=group,
        groups=groups,
        rows=rows.with_columns(note=_notes(rows, limits)),
        without_value=len(mine) - len(rows),
        summary=summarise(rows["value"]) if len(rows) else None,
        limits=limits,
        specification=chosen[1] if chosen else None,
        limit_set=chosen[0] if chosen else None,
        forced=group.stage in characteristic.forced_at,
        warnings=_warnings(characteristic, rows, limits),
        zone=series.zone,
    )


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


def _limits(rows: pl.DataFrame) -> IndividualsLimits | None:
    try:
        return individuals(rows["value"], minimum=TOO_FEW)
    except TooFewError:
        return None


def _notes(rows: pl.DataFrame, limits: IndividualsLimits | None) -> pl.Series:
    """What stands out about each row, in words; empty for most."""
    value, verdict = pl.col("value"), pl.col("verdict")
    above = below = pl.lit(value=False)
    if limits is not None and limits.enough and limits.sigma > 0:
        above, below = value > limits.upper, value < limits.lower
    control = pl.when(above).then(pl.lit("above the control limit")).when(below).then(pl.lit("below the control limit"))
    specification = (
        pl.when(verdict == HIGH)
        .then(pl.lit("above the workshop's limit"))
        .when(verdict == LOW)
        .then(pl.lit("below the workshop's limit"))
        .when(verdict == CLOSE)
        .then(pl.lit("too close to the workshop's limit to call"))
    )
    return rows.select(note=pl.concat_str([control, specification], separator="; ", ignore_nulls=True))["note"]


def _warnings(characteristic: Characteristic, rows: pl.DataFrame, limits: IndividualsLimits | None) -> tuple[str, ...]:
    notes = []
    if len(rows) < TOO_FEW:
        notes.append(f"too few to set limits: {len(rows)} of the {TOO_FEW} it takes")
    elif limits is not None:
        notes += list(limits.warnings)
    if limits is not None and limits.enough and characteristic.step is not None:
        step = (
            characteristic.step / max(1, len(characteristic.positions))
            if characteristic.positions
            else characteristic.step
        )
        coarse = step_warning(rows["value"], step, limits.sigma)
        if coarse:
            notes.append(coarse)
    return tuple(notes)


def as_json(chart: CaseChart) -> dict[str, Any]:
    """The chart as plain values for `--json`."""
    from qclog.domain.moments import write_moment

    limits, specification = chart.limits, chart.specification
    return {
        "case_type": chart.sheet.code,
        "characteristic": chart.characteristic.code,
        "unit": chart.characteristic.unit,
        "stage": chart.group.stage,
        "parts": chart.group.condition,
        "machined": chart.group.machined,
        "n": len(chart.rows),
        "forced": chart.forced,
        "mean": chart.summary.mean if chart.summary else None,
        "sd": chart.summary.sd if chart.summary else None,
        "median": chart.summary.median if chart.summary else None,
        "control": None
        if limits is None
        else {
            "enough": limits.enough,
            "centre": limits.centre,
            "lower": limits.lower,
            "upper": limits.upper,
            "sigma": limits.sigma,
            "mean_moving_range": limits.mean_moving_range,
            "moving_range_upper": limits.moving_range_upper,
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
        "warnings": list(chart.warnings),
        "groups": [{"stage": g.stage, "parts": g.condition, "machined": g.machined, "n": g.n} for g in chart.groups],
        "readings": [
            {
                "job": row["job"],
                "taken_at": write_moment(row["taken_at"], chart.zone),
                "value": row["value"],
                "verdict": row["verdict"],
                "note": row["note"],
            }
            for row in chart.rows.iter_rows(named=True)
        ],
    }
