"""The investigation page's parts: evidence, what left, gauges, peers, sisters, comebacks."""

from __future__ import annotations

import streamlit as st

from qclog.measures.gauge_trust import DOUBT, UNKNOWN
from qclog.services.papers import investigation_tables as tables
from qclog.services.papers import unit_charts
from qclog.services.papers.investigation_file import GRADED
from qclog.services.papers.investigation_tables import Grid
from qclog.services.tracing.evidence import CAUSE, CONTRIBUTING, NOT_OURS, OPEN, Point
from qclog.services.tracing.tracing import Trace, UnitTrace
from qclog.web import reading
from qclog.web.frame import plain
from qclog.web.tables import show_table

_ICONS = {
    CAUSE: ":material/priority_high:",
    CONTRIBUTING: ":material/merge:",
    NOT_OURS: ":material/block:",
    OPEN: ":material/help:",
}


def show_evidence(unit: UnitTrace) -> None:
    """Each point with its grade, the reason for it and what would settle it; the less pressing folded below them."""
    st.subheader("The evidence, graded")
    graded = [p for p in unit.points if p.grade != OPEN or p.in_sight]
    still_open = [p for p in unit.points if p not in graded]
    for point in graded:
        _show_point(point)
    if not unit.points:
        st.success("Nothing in the log stands against this job.", icon=":material/check:")
    if still_open:
        with st.expander(f"Open: {len(still_open)}", expanded=not graded):
            for point in still_open:
                _show_point(point)
    st.caption(GRADED)


def _show_point(point: Point) -> None:
    with st.container(border=True):
        st.markdown(f"{_ICONS[point.grade]} **{plain(point.grade.upper())}**: {plain(point.about)}")
        st.markdown(f"Why: {plain(point.reason)}")
        st.caption(f"Would settle it: {plain(point.settle)}")


def show_what_left(unit: UnitTrace) -> None:
    """What left outside limits, drawn among its kind; and what it read when it came back."""
    st.subheader("What left, by the limits in force that day")
    if unit.outside:
        st.markdown("\n".join(f"- {plain(one.text)}" for one in unit.outside))
    else:
        said = "Nothing that was read left outside limits or too close to call."
        _ = st.info(said) if unit.built.missing else st.success(said, icon=":material/check:")
    if unit.left is not None and unit.left.later:
        with st.expander(f"Entered after it had left ({len(unit.left.later)}): no part of what left", expanded=True):
            st.markdown("\n".join(f"- {plain(unit.left.later_text(later))}" for later in unit.left.later))
    chart = next(unit_charts.charts_of(unit), None)
    if chart is not None:
        st.altair_chart(unit_charts.over_time_of(unit, chart, dark=reading.is_dark()), key="unit_chart")
        st.caption(plain(unit_charts.says(unit, chart)))
    grid = tables.changes_grid(unit)
    if grid.rows:
        st.subheader("As received against as built")
        _show(grid)


def show_gauges_and_peers(unit: UnitTrace) -> None:
    """Whether the gauges were right, and each value's place among its peers."""
    st.subheader("Were the gauges right that day?")
    doubtful = [g for g in unit.gauges if g.state == DOUBT]
    for day in doubtful:
        st.warning(plain(f"{day.gauge} in doubt: {day.why}."), icon=":material/warning:")
    unknown = [g for g in unit.gauges if g.state == UNKNOWN]
    if unknown:
        named = ", ".join(g.gauge for g in unknown)
        st.info(plain(f"Not known whether right that day: {named}."), icon=":material/help:")
    if not unit.gauges:
        st.info("No reading of this job names a gauge.")
    elif not doubtful and not unknown:
        st.success("Every gauge is known to have been right.", icon=":material/check:")
    with st.expander(f"All {len(unit.gauges)} gauges"):
        said = [f"**{plain(g.gauge)}**, {g.readings} read, {g.state}: {plain(g.why)}" for g in unit.gauges]
        st.markdown("\n".join(f"- {line}" for line in said))
    with st.expander(f"Each value among its peers, then and now ({len(unit.placed)})"):
        st.caption("Places are counted from the lowest, among units of the same case type, stage, parts and cases.")
        _show(tables.peers_grid(unit))


def show_corrections_and_parts(unit: UnitTrace) -> None:
    """Every attempt and correction with who and why; parts and lots."""
    others = tables.readings_grid(unit, counting=False).without_empty()
    with st.expander(f"Corrected or read again: {len(others.rows)}", expanded=bool(others.rows)):
        if others.rows:
            _show(others)
        else:
            st.write("Every reading stands as it was first entered.")
        if st.button("All readings of this job", icon=":material/receipt_long:"):
            st.switch_page("app_pages/job.py", query_params={"job": unit.job})
    grid = tables.parts_grid(unit).without_empty()
    if grid.rows:
        with st.expander(f"Parts and lots: {len(grid.rows)}"):
            _show(grid)
    for job, by, readings, gauges, outside in tables.inside_grid(unit).rows:
        said = f"Sub-assembly built as job {job} by {by or 'nobody named'}, {readings}; gauges: {gauges}"
        st.info(plain(f"{said}; outside limits: {outside}."), icon=":material/deployed_code:")


def show_sharing(trace: Trace) -> None:
    """What it shares with other units, and whether those come back more often."""
    if trace.links:
        st.subheader("What it shares with other units" if trace.unit else "Do such units come back more often?")
        told = [
            f"**{plain(link.name_words)}**, n = {len(link.jobs)}: {plain(trace.compare(link))}" for link in trace.links
        ]
        st.markdown("\n".join(f"- {line}" for line in told))


def show_comebacks(trace: Trace) -> None:
    """Comebacks by case type with exposure, and whether readings go with them."""
    st.subheader(tables.risks_title(trace.shop))
    _show(tables.risks_grid(trace.risks))
    for case_type in trace.case_types:
        going = trace.going(case_type)
        if not any(g.p is not None for g in going):
            st.info(f"{plain(case_type)}: too few comebacks to say whether any reading goes with them.")
            continue
        st.markdown(f"**Do final readings of {plain(case_type)} go with comebacks?**")
        for one in going:
            if one.clear:
                st.markdown(f"- {plain(one.characteristic.name)}: {plain(one.text)}. {plain(one.outside_text)}")
        if not any(one.clear for one in going):
            st.markdown("Nothing clear.")
        without = [g for g in trace.going(case_type, without_explained=True) if g.p is not None]
        told = "too few to say"
        if without:
            told = "; ".join(f"{g.characteristic.name}: {g.text}" for g in without if g.clear) or "nothing clear"
        st.markdown(f"Without the units that findings or doubtful gauges touch: {plain(told)}.")
        with st.expander("Each reading"):
            _show(tables.going_grid(going))
    st.caption(
        "Odds are for one ordinary spread towards the side with more comebacks; p allows for how many characteristics"
        " were looked at. That a reading goes with comebacks does not make it the cause."
    )


def _show(grid: Grid) -> None:
    show_table(grid.columns, right=grid.numbers)
