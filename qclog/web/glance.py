"""The workshop at a glance."""

from __future__ import annotations

import streamlit as st

from qclog.services import jobs
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.tables import show_figures_in_a_row, show_table


def show_counts(log: Log) -> None:
    """How much there is."""
    with log.reading() as use:
        counts = use.rows("counts")[0]
    names = ("readings", "jobs", "case types", "comebacks")
    show_figures_in_a_row({name: f"{counts[name.replace(' ', '_')]:,}" for name in names})


def show_jobs(log: Log) -> None:
    """Jobs last touched, those in work first; a chosen row opens its story."""
    st.subheader("Jobs, the last touched first")
    rows = jobs.list_jobs(log, most=200)
    if not rows:
        st.info("No jobs yet. Open one on the Bench page.")
        return
    at = show_table(
        {
            "job": [r["job"] for r in rows],
            "case type": [r["case_type"] for r in rows],
            "serial": [r["case_serial"] for r in rows],
            "opened": [r["opened"] for r in rows],
            "dispatched": [r["dispatched"] for r in rows],
            "readings": [r["readings"] for r in rows],
            "outstanding": [r["outstanding"] for r in rows],
        },
        key="jobs_table",
    )
    if at is not None:
        st.switch_page("app_pages/job.py", query_params={"job": rows[at]["job"]})
    st.caption("Choose a row to open the job's story.")


def show_case_types(log: Log) -> None:
    """Every case type with its jobs."""
    st.subheader("Case types")
    rows = reading.overview(log)
    if not rows:
        st.info("No case types yet. Add a sheet at the terminal: `qclog sheet add FILE`")
        return
    at = show_table(
        {
            "case type": [r.sheet.code for r in rows],
            "jobs": [r.jobs for r in rows],
            "last opened": [r.last_opened for r in rows],
            "name": [r.sheet.name for r in rows],
        },
        key="case_types_table",
    )
    if at is not None:
        st.switch_page("app_pages/case_type.py", query_params={"case_type": rows[at].sheet.code})
    st.caption("Choose a row to see its charts.")
