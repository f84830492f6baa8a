"""On the case-type page: units side by side, one period against another, and how the limits came to be."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from qclog.charts.side_by_side import draw_side_by_side
from qclog.domain.moments import show_moment
from qclog.errors import QclogError
from qclog.services.series import pictures, side_by_side
from qclog.services.series.case_chart import CaseChart
from qclog.services.series.limit_history import history_of
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.frame import plain, show_error
from qclog.web.tables import show_table

MOST_DRAWN = 40


def show_side_by_side(log: Log, chart: CaseChart) -> None:
    """The units by batch, lot, gauge, technician, rebuild or month, each with its n."""
    st.subheader("Side by side")
    by = st.segmented_control(
        "By", list(side_by_side.BY), key="side_by_side", label_visibility="collapsed", default="machining batch"
    )
    if by is None:
        return
    found = side_by_side.compare(log, chart, by)
    if not found.levels:
        st.caption(f"Nothing is noted of the {plain(by)} of these units.")
        return
    st.caption(plain(found.text))
    shown = found.levels[-MOST_DRAWN:]
    if len(shown) < len(found.levels):
        st.caption(f"The last {len(shown)} of {len(found.levels)} are drawn.")
    labels = [(level.name, f"{level.name} (n = {level.n})") for level in shown]
    drawn = draw_side_by_side(found.rows, labels, chart.characteristic.unit, dark=reading.is_dark())
    st.altair_chart(drawn, theme=None, width="stretch")
    with st.expander("The same in figures"):
        show_table(
            {
                by: [level.name for level in found.levels],
                "n": [level.n for level in found.levels],
                "mean": [pictures.with_unit(chart, pictures.figure(chart, level.mean)) for level in found.levels],
                "spread": [
                    "" if level.spread is None else pictures.with_unit(chart, pictures.figure(chart, level.spread))
                    for level in found.levels
                ],
                "stand out": [level.out for level in found.levels],
                "first": [level.first for level in found.levels],
                "last": [level.last for level in found.levels],
            }
        )


def show_periods(chart: CaseChart) -> None:
    """Two stretches of days against each other; at first the last three months and the nine before."""
    with st.expander("Compare two periods"):
        last = chart.rows["taken_at"].max()
        if not hasattr(last, "date"):
            st.caption("No readings yet.")
            return
        end: date = last.date()  # type: ignore[union-attr] # a moment
        middle = end - timedelta(days=90)
        left, right = st.columns(2)
        first = left.date_input("First period", (middle - timedelta(days=275), middle), key="period_1")
        second = right.date_input("Second period", (middle + timedelta(days=1), end), key="period_2")
        if not (isinstance(first, tuple) and isinstance(second, tuple) and len(first) == len(second) == 2):
            st.caption("Choose the first and the last day of each.")
            return
        try:
            st.markdown(plain(side_by_side.compare_periods(chart, first, second).text))
        except QclogError as error:
            show_error(error)


def show_limit_history(log: Log, chart: CaseChart) -> None:
    """Every version of the sheet with the limits it had, since when, and who entered it."""
    rows = history_of(log, chart)
    with st.expander(f"How the workshop's limits came to be ({len(rows)} version{'' if len(rows) == 1 else 's'})"):
        show_table(
            {
                "sheet": [r.version for r in rows],
                "in force from": [
                    "the beginning" if r.since is None else show_moment(r.since, chart.zone) for r in rows
                ],
                "limits": [r.limits or "none" for r in rows],
                "entered by": [r.by for r in rows],
            }
        )
