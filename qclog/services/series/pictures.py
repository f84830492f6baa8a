"""Charts ready to show or save."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import floor, log10
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from qclog.charts.picture import Line, Picture
from qclog.domain.moments import show_moment
from qclog.errors import InputError
from qclog.services.keeping.changes import change_text
from qclog.services.keeping.output import new_file
from qclog.services.series.case_chart import CaseChart, LimitStep
from qclog.stats.charts.limits import IndividualsLimits

if TYPE_CHECKING:
    from qclog.services.series.chart_aids import Aid

FORMATS = (".svg", ".png", ".html")


def reading_figure(chart: CaseChart, value: float) -> str:
    """One unit's value without its unit: as fine as its gauge, one decimal more where several readings make it."""
    step = chart.characteristic.step
    if step is None:
        return f"{value:.6g}"
    several = bool(chart.characteristic.positions) or chart.characteristic.derived
    return f"{value:.{_decimals(step) + several}f}"


def row_text(chart: CaseChart, row: Mapping[str, Any]) -> str:
    """One row of a chart with its unit: a number, or `below 4 thou` where only one end of it is known."""
    text = with_unit(chart, reading_figure(chart, row["value"]))
    return f"{row['open']} {text}" if row["open"] else text


def figure(chart: CaseChart, value: float) -> str:
    """A mean, spread or limit without its unit: as many decimals as give the spread two figures."""
    spread = chart.spread
    if not spread:
        return reading_figure(chart, value)
    return f"{value:.{max(0, 1 - floor(log10(spread)))}f}"


def limit_figure(value: float) -> str:
    """A limit of the workshop, as it was entered."""
    return f"{value:g}"


def with_unit(chart: CaseChart, figure_text: str) -> str:
    """A figure with the characteristic's unit."""
    return f"{figure_text} {chart.characteristic.unit}"


def _decimals(step: float) -> int:
    return max(0, -int(Decimal(str(step)).normalize().as_tuple().exponent))


def picture_of(chart: CaseChart, aid: Aid | None = None) -> Picture:
    """What to draw for a case chart, with an aid to the eye if one is wanted."""
    begins = chart.eras[-1].first + 1 if chart.eras else None
    lines = _control_lines(chart, chart.drawn, begins, None)
    for step in chart.steps[-1:]:
        lines += _workshop_lines(step, step.first + 1 if len(chart.steps) > 1 else None, None)
    zone = str(chart.zone)
    rows = chart.rows.with_columns(
        pl.col("taken_at").dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.replace_time_zone(None),
        text=pl.Series([row_text(chart, r) for r in chart.rows.iter_rows(named=True)], dtype=pl.String),
    )
    return Picture(
        title=f"{chart.characteristic.name}, {chart.sheet.code}",
        subtitle=subtitle(chart),
        unit=chart.characteristic.unit,
        rows=rows,
        lines=lines,
        step=_bar_step(chart),
        former=[
            line
            for era in chart.eras[:-1]
            for line in _control_lines(chart, era.drawn, era.first + 1, era.first + era.n)
        ]
        + [line for step in chart.steps[:-1] for line in _workshop_lines(step, step.first + 1, step.first + step.n)],
        breaks=[
            (era.first + 1, f"{show_moment(era.change.since, chart.zone)[:10]} {change_text(era.change)}")
            for era in chart.eras
            if era.change is not None
        ],
        marks=None if aid is None else aid.marks,
        average=None if aid is None else aid.average,
    )


def _control_lines(
    chart: CaseChart, limits: IndividualsLimits | None, first: int | None, last: int | None
) -> list[Line]:
    if limits is None:
        return []
    return [
        Line(f"{says} {figure(chart, value)}", value, "control", first, last)
        for says, value in (
            ("centre", limits.centre),
            ("upper control limit", limits.upper),
            ("lower control limit", limits.lower),
        )
    ]


def _workshop_lines(step: LimitStep, first: int | None, last: int | None) -> list[Line]:
    if step.limits is None:
        return []
    return [
        Line(f"{says} {limit_figure(limit)}", limit, "workshop", first, last)
        for says, limit in (("highest allowed", step.limits.upper), ("lowest allowed", step.limits.lower))
        if limit is not None
    ]


def _bar_step(chart: CaseChart) -> float | None:
    step = chart.characteristic.step
    places = len(chart.characteristic.positions)
    return None if step is None else step / places if places else step


def subtitle(chart: CaseChart) -> str:
    """Which units are shown, how many, and what to bear in mind."""
    said = f"{chart.group.words}; n = {len(chart.rows)}"
    if chart.n < len(chart.rows):
        said += f", of which {chart.n} since the last change"
    if chart.forced:
        said += "; set by choice of shim, so it says little about the case"
    if chart.drawn is None:
        said += "; too few to set limits"
    return said


def chart_of(
    chart: CaseChart, aid: Aid | None = None, *, dark: bool = False, width: int = 700, height: int = 340
) -> Any:
    """The Altair chart."""
    from qclog.charts.over_time import draw

    return draw(picture_of(chart, aid), dark=dark, width=width, height=height)


def panels_of(chart: CaseChart, aid: Aid | None = None, *, dark: bool = False, height: int = 340) -> tuple[Any, Any]:
    """The Altair charts over time and of the spread, each as wide as the space it is given."""
    from qclog.charts.over_time import panels

    return panels(picture_of(chart, aid), dark=dark, height=height)


def save(chart: CaseChart, file: Path, aid: Aid | None = None, *, replace: bool = False) -> None:
    """Write the chart to an SVG, PNG or HTML file, without a browser or network.

    InputError for another ending, or as `output.new_file` says; OutputError if the file can't be written.
    """
    kind = file.suffix.lower()
    if kind not in FORMATS:
        raise InputError(
            "a chart is saved as SVG, PNG or HTML", field="file", found=file.name, hint="end it in .svg or .png"
        )
    drawn = chart_of(chart, aid)
    settings: dict[str, dict[str, Any]] = {".png": {"ppi": 144}, ".html": {"inline": True}, ".svg": {}}
    with new_file(file, replace=replace) as part:
        drawn.save(part, **settings[kind])
