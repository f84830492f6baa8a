"""Aids to the eye on a chart: run tests and small-shift charts, with how often they cry wolf. They raise no finding."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from qclog.errors import InputError
from qclog.services.series.case_chart import CaseChart
from qclog.stats.charts import cusum, ewma, run_tests
from qclog.stats.charts.run_length import average_run_length

AIDS = ("runs", "ewma", "cusum")
NAMES = {
    "runs": "Patterns (eight run tests)",
    "ewma": "Moving average with fading weights (EWMA)",
    "cusum": "Cumulative sum (CUSUM)",
}


@dataclass(frozen=True, slots=True)
class Aid:
    """What an aid shows. `marks` has one row per marked unit: order (from 1), value, job, says. `average` has order,
    value, low, high of a moving average, or is None. `false_alarm` says how often a sound process is marked.
    """

    kind: str
    marks: pl.DataFrame
    average: pl.DataFrame | None
    false_alarm: str
    lines: tuple[str, ...]


def why_not(chart: CaseChart) -> str | None:
    """Why an aid can't be laid over a chart; None where it can."""
    if (chart.rows["open"] != "").any():
        return "some units are only known to be below or above a leaf, so there is nothing to look along"
    if chart.drawn is None:
        return f"too few to set limits (n = {len(chart.rows)}), so there is nothing to look along"
    if chart.drawn.sigma <= 0:
        return "all readings are equal, so there is nothing to look along"
    return None


def look(chart: CaseChart, kind: str) -> Aid:
    """Look at a chart with one of `AIDS`, since the last recorded change. InputError for another, or see `why_not`."""
    if kind not in AIDS:
        raise InputError("there is no such aid", field="aid", found=kind, hint="one of " + ", ".join(AIDS))
    refused = why_not(chart)
    limits = chart.drawn
    if refused is not None or limits is None:
        raise InputError(refused or "", field="aid", found=kind)
    first = chart.eras[-1].first if chart.eras else 0
    rows = chart.rows.with_row_index("order", offset=1).slice(first)
    values = rows["value"].to_numpy()
    if kind == "runs":
        signals = run_tests.find(values, limits.centre, limits.sigma)
        said: dict[int, list[str]] = {}
        for s in signals:
            for at in range(s.at, s.last + 1):
                said.setdefault(at, []).append(f"{s.description}{f' ({s.side})' if s.side else ''}")
        lines = tuple(
            f"{s.description}{f' ({s.side})' if s.side else ''}: {_span(rows['job'][s.first], rows['job'][s.last])}"
            for s in signals
        )
        marks = _marks(rows, {at: "; ".join(texts) for at, texts in said.items()})
        return Aid(kind, marks, None, _alarm(average_run_length(run_tests.NELSON_1984).mean), lines)
    if kind == "ewma":
        faded = ewma.chart(values, limits.centre, limits.sigma)
        average = rows.select(
            "order", value=pl.Series(faded.averages), low=pl.Series(faded.lower), high=pl.Series(faded.upper)
        )
        marks = _marks(rows, dict.fromkeys(faded.signals, "the moving average is outside its limits"))
        every = ewma.average_run_length(faded.weight, faded.factor)
        return Aid(
            kind, marks, average, _alarm(every), _told(rows, faded.signals, "the moving average leaves its limits")
        )
    sums = cusum.chart(values, limits.centre, limits.sigma)
    marks = _marks(rows, dict.fromkeys(sums.signals, "the cumulative sum is above its limit"))
    lines = _told(rows, sums.signals, "the cumulative sum passes its limit")
    if sums.began is not None:
        since = rows["job"][sums.began + 1]
        lines = (*lines, f"the first of these points to a shift {sums.side} from about job {since} on")
    return Aid(kind, marks, None, _alarm(cusum.average_run_length(sums.allowance, sums.limit)), lines)


def _alarm(every: float) -> str:
    return (
        f"a false alarm every {every:.0f} units, if readings are independent, normal, finely read and the centre and "
        "spread are known; with estimated limits or coarse readings it may be much more often"
    )


def _span(first: str, last: str) -> str:
    return first if first == last else f"{first} to {last}"


def _marks(rows: pl.DataFrame, says: dict[int, str]) -> pl.DataFrame:
    at = sorted(says)
    return rows[at].select("order", "value", "job", says=pl.Series([says[i] for i in at], dtype=pl.String))


def _told(rows: pl.DataFrame, signals: tuple[int, ...], what: str) -> tuple[str, ...]:
    """One line for each unbroken run of signals."""
    lines = []
    for i, at in enumerate(signals):
        if i == 0 or signals[i - 1] != at - 1:
            end = at
            while end + 1 in signals:
                end += 1
            span = _span(rows["job"][at], rows["job"][end])
            lines.append(f"{what}: {span}")
    return tuple(lines)
