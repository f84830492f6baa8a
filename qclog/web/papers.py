"""Buttons that take a paper away."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from qclog.store.log import Log
from qclog.web import bench_state

if TYPE_CHECKING:
    from qclog.report.document import Document


def show_job_papers(log: Log, job: str, *, here: bool) -> None:
    """The job card and the build record as PDF; the ways to the investigation and, while it is `here`, the bench."""
    with st.container(horizontal=True):
        if here and st.button("To the bench", icon=":material/straighten:", type="primary"):
            st.session_state[bench_state.JOB] = job
            st.switch_page("app_pages/bench.py", query_params={"job": job})
        card = "The card that goes with the job, with its code to scan"
        record = "What left the shop, for the customer and the file"
        _show_paper("Job card", f"job-card-{job}", lambda: _job_card(log, job), card)
        _show_paper("Build record", f"build-record-{job}", lambda: _build_record(log, job), record)
        if st.button("Investigate", icon=":material/search:", help="Who else has the same, and why it came back"):
            st.switch_page("app_pages/investigation.py", query_params={"trace": job})


def show_review(log: Log, month: str) -> None:
    """The review of a month as PDF."""
    says = "Findings, what came in and left, comebacks, gauges and shims, to print"
    _show_paper("Monthly review", f"review-{month}", lambda: _monthly_review(log, month), says)


def _job_card(log: Log, job: str) -> Document:
    from qclog.services.papers.job_card import job_card

    return job_card(log, job)


def _build_record(log: Log, job: str) -> Document:
    from qclog.services.papers.build_record import build_record

    return build_record(log, job)


def _monthly_review(log: Log, month: str) -> Document:
    from qclog.services.papers.monthly_review import monthly_review

    return monthly_review(log, month)


def _pdf(make: Callable[[], Document]) -> bytes:
    from qclog.report.pdf import set_pdf

    return set_pdf(make())


def _show_paper(label: str, name: str, make: Callable[[], Document], says: str) -> None:
    """A button that makes a paper when it is pressed, and not before."""
    safe = "".join(c if c.isalnum() or c in "-." else "-" for c in name)
    st.download_button(
        label,
        lambda: _pdf(make),
        file_name=f"{safe}.pdf",
        mime="application/pdf",
        on_click="ignore",
        icon=":material/print:",
        key=f"paper_{name}",
        help=says,
    )
