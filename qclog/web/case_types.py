"""The case-type page's parts."""

from __future__ import annotations

from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from qclog.charts.over_time import PICKED, PICKED_ODD
from qclog.domain.moments import show_moment
from qclog.services.series import pictures
from qclog.services.series.case_chart import CaseChart
from qclog.services.series.chart_aids import AIDS, NAMES, Aid, look, why_not
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.frame import plain
from qclog.web.tables import show_figures_in_a_row, show_table
from qclog.words.numbers import limits_text

MOST_TOLD = 6


def choose(log: Log, left: DeltaGenerator, right: DeltaGenerator) -> tuple[str | None, str | None]:
    """The case type and characteristic, asked for in two places of the page and remembered in its address."""
    rows = reading.overview(log)
    if not rows:
        return None, None
    sheets = {r.sheet.code: r.sheet for r in rows}
    asked = st.query_params.get("case_type")
    codes = list(sheets)
    case_type = left.selectbox(
        "Case type",
        codes,
        index=codes.index(asked) if asked in codes else 0,
        format_func=lambda code: f"{code}: {sheets[code].name}",
    )
    numbers = [c for c in sheets[case_type].characteristics if not c.in_words]
    names = {c.code: c.name for c in numbers}
    wanted = st.query_params.get("characteristic")
    start = list(names).index(wanted) if wanted in names else _telling(sheets[case_type], list(names))
    code: str = right.selectbox(
        "Characteristic", list(names), index=start, format_func=lambda c: names[c], key=f"characteristic_{case_type}"
    )
    st.query_params["case_type"] = case_type
    st.query_params["characteristic"] = code
    return case_type, code


def _telling(sheet: object, codes: list[str]) -> int:
    """The first worked-out characteristic that isn't forced says most about a case; else the first."""
    characteristics = getattr(sheet, "characteristics", ())
    telling = [c.code for c in characteristics if c.derived and not c.forced_at and c.code in codes]
    return codes.index(telling[0]) if telling else 0


def choose_group(log: Log, case_type: str, code: str) -> CaseChart | None:
    """Which comparable units to show; they are never mixed."""
    first = reading.chart(log, case_type, code, None)
    if not first.groups:
        st.info(f"No readings of {plain(first.characteristic.name)} yet.")
        return None
    groups = {f"{g.words} (n = {g.n})": g for g in first.groups}
    shown = next(words for words, g in groups.items() if g == first.group)
    words = st.selectbox(
        "Which units (never mixed)",
        list(groups),
        index=list(groups).index(shown),
        key=f"group_{case_type}_{code}",
        help="Stages, new and re-used parts, and machined and unmachined cases are different populations.",
    )
    if words == shown:
        return first
    return reading.chart(log, case_type, code, groups[words])


def show_figures(chart: CaseChart) -> None:
    """n, mean, spread and limits as large figures, and what to bear in mind."""
    since = f" (of {len(chart.rows):,})" if chart.n < len(chart.rows) else ""
    figures = {"units (n)" if not since else "units since the change": f"{chart.n:,}{since}"}
    for name, value in (("mean", chart.mean), ("spread (standard deviation)", chart.spread)):
        if value is not None:
            figures[name] = pictures.with_unit(chart, pictures.figure(chart, value))
    if chart.drawn is not None:
        ends = (pictures.figure(chart, x) for x in (chart.drawn.lower, chart.drawn.upper))
        figures["control limits"] = pictures.with_unit(chart, " to ".join(ends))
    if chart.specification is not None:
        said = limits_text(chart.specification)
        figures["workshop's limits"] = pictures.with_unit(chart, said) if said else "none"
    show_figures_in_a_row(figures)
    if chart.forced:
        st.warning(
            "This stage was set by choice of shim. It shows what the technician aimed at, not what the case is like: "
            "look at the implied recess, the pack, the closure or the torque for that.",
            icon=":material/build:",
        )
    for warning in chart.warnings:
        st.info(plain(warning[0].upper() + warning[1:]) + ".", icon=":material/info:")
    if chart.without_value:
        st.caption(f"{chart.without_value} without a number (not accessible and the like) are not drawn.")


def show_chart(chart: CaseChart) -> None:
    """The chart over time with its distribution beside it, or below it on a narrow screen; with an aid if wanted."""
    aid = _choose_aid(chart)
    st.subheader(plain(f"{chart.characteristic.name}, {chart.sheet.code}"))
    st.caption(plain(pictures.subtitle(chart)))
    over, spread = pictures.panels_of(chart, aid, dark=reading.is_dark(), height=360)
    left, right = st.columns([4, 1], gap="small")
    chosen: Any = left.altair_chart(
        over, theme=None, width="stretch", on_select="rerun", selection_mode=[PICKED, PICKED_ODD], key="over_time"
    )
    for name in (PICKED, PICKED_ODD):
        for point in chosen.selection.get(name, []):
            st.switch_page("app_pages/job.py", query_params={"job": point["job"]})
    right.altair_chart(spread, theme=None, width="stretch")
    if aid is not None:
        st.caption(plain(f"Squares: {NAMES[aid.kind]}, {aid.false_alarm}. An aid to the eye: it raises no finding."))
        for line in aid.lines[:MOST_TOLD]:
            st.caption(plain(line))
        if len(aid.lines) > MOST_TOLD:
            st.caption(f"and {len(aid.lines) - MOST_TOLD} more")


def _choose_aid(chart: CaseChart) -> Aid | None:
    """None, or one of the aids to the eye; none is offered where there are no limits to look along."""
    if why_not(chart) is not None:
        return None
    kind = st.segmented_control(
        "Aid to the eye",
        list(AIDS),
        format_func=lambda name: NAMES[name],
        key=f"aid_{chart.sheet.code}_{chart.characteristic.code}",
        help="Marks on this chart alone, each with how often it is a false alarm. Findings come from all readings.",
    )
    return None if kind is None else look(chart, kind)


def show_flagged(chart: CaseChart) -> None:
    """The units that stand out, as a table that says why."""
    odd = chart.flagged
    if odd.is_empty():
        st.success("No unit stands out.", icon=":material/check:")
        return
    st.subheader(f"{len(odd)} of {len(chart.rows)} units stand out")
    shown = [pictures.row_text(chart, row) for row in odd.iter_rows(named=True)]
    at = show_table(
        {
            "job": odd["job"].to_list(),
            "reading": shown,
            "why": odd["note"].to_list(),
            "taken": [show_moment(t, chart.zone) for t in odd["taken_at"]],
            "machining batch": odd["machining_batch"].to_list(),
            "gauge": odd["gauge"].to_list(),
            "read by": odd["technician"].to_list(),
        },
        key="flagged_table",
    )
    if at is not None:
        st.switch_page("app_pages/job.py", query_params={"job": odd["job"][at]})
    st.caption("Choose a row to open the job's story.")


def show_asked(chart: CaseChart) -> None:
    """Where the limits come from, and the caution of the sheet."""
    c = chart.characteristic
    lines = []
    if c.formula:
        lines.append(f"Worked out: {c.name} = {c.formula}.")
    for name, limits in c.limits:
        lines.append(f"Workshop's limits for {name.replace('_', ' ')}: {limits_text(limits)} {c.unit}.")
    if c.source:
        lines.append(f"Source: {c.source}.")
    if c.caution:
        lines.append(f"Caution: {c.caution}")
    if chart.drawn is not None:
        d = chart.drawn
        spread = (
            "of the bell curve that fits the intervals best (a shift among these units makes it wider)"
            if chart.by_intervals
            else f"the {d.method} divided by {d.constant:.6g}"
        )
        lines.append(f"Control limits: centre plus and minus {d.factor:g} spreads, the spread being {spread}.")
    if lines:
        with st.expander("Where these limits come from"):
            for line in lines:
                st.write(plain(line))
