"""Charts of the readings that matter most for one unit, with the unit ringed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import polars as pl

from qclog.charts.over_time import draw, panels
from qclog.charts.picture import Picture
from qclog.report.document import Figure
from qclog.report.figures import figure_of
from qclog.services.series.case_chart import CaseChart, chart_series
from qclog.services.series.pictures import picture_of
from qclog.services.tracing.tracing import UnitTrace

MOST = 2
FEWEST = 5


def unit_charts(unit: UnitTrace) -> list[Figure]:
    """At most two charts as vectors: of what left outside limits, then of what has changed in service."""
    return [_figure(unit, chart) for chart, _ in zip(charts_of(unit), range(MOST), strict=False)]


def charts_of(unit: UnitTrace) -> Iterator[CaseChart]:
    """The charts of the unit's own group, the most telling first; what was set by choice of shim is left out."""
    codes = [o.code for o in unit.outside if o.out]
    codes += [code for f in unit.links if f.finding is not None for code in f.finding.characteristics]
    codes += [c.characteristic.code for c in unit.changes]
    by_code = {s.characteristic.code: s for s in unit.every}
    for code in dict.fromkeys(codes):
        series = by_code.get(code)
        if series is None or "final" in series.characteristic.forced_at:
            continue
        mine = series.rows.filter(
            (pl.col("job") == unit.job) & (pl.col("stage") == "final") & pl.col("value").is_not_nan()
        )
        if mine.is_empty():
            continue
        row = mine.row(0, named=True)
        chart = chart_series(series, stage="final", condition=row["condition"], machined=row["machined"])
        if len(chart.rows) >= FEWEST:
            yield chart


def over_time_of(unit: UnitTrace, chart: CaseChart, *, dark: bool = False, height: int = 300) -> Any:
    """The chart over time as wide as the page gives it, with the unit ringed."""
    return panels(_ringed(unit, chart), dark=dark, height=height)[0]


def says(unit: UnitTrace, chart: CaseChart) -> str:
    """What the chart shows, in words."""
    picture = picture_of(chart)
    return f"{picture.title}: {picture.subtitle}; job {unit.job} has a square round it"


def _figure(unit: UnitTrace, chart: CaseChart) -> Figure:
    told = says(unit, chart)
    return figure_of(draw(_ringed(unit, chart), width=520, height=230), told, caption=told)


def _ringed(unit: UnitTrace, chart: CaseChart) -> Picture:
    order = chart.rows.with_row_index("order", offset=1).filter(pl.col("job") == unit.job)
    ring = order.select(pl.col("order").cast(pl.Int64), "value", "job", says=pl.lit("this unit"))
    return replace(picture_of(chart), marks=ring, title="", subtitle="")
