"""Buttons that take a paper away."""

from __future__ import annotations

import streamlit as st

from qclog.report.pdf import set_pdf
from qclog.services.build_record import build_record
from qclog.services.job_card import job_card
from qclog.services.monthly_review import monthly_review
from qclog.store.log import Log


def show_job_papers(log: Log, job: str) -> None:
    """The job card and the build record as PDF, made when they are asked for, and the way to the investigation."""
    with st.container(horizontal=True):
        st.download_button(
            "Job card",
            lambda: set_pdf(job_card(log, job)),
            file_name=f"job-card-{_safe(job)}.pdf",
            mime="application/pdf",
            on_click="ignore",
            icon=":material/print:",
            help="The card that goes with the job, with its code to scan",
        )
        st.download_button(
            "Build record",
            lambda: set_pdf(build_record(log, job)),
            file_name=f"build-record-{_safe(job)}.pdf",
            mime="application/pdf",
            on_click="ignore",
            icon=":material/print:",
            help="What left the shop, for the customer and the file",
        )
        if st.button("Investigate", icon=":material/search:", help="Who else has the same, and why it came back"):
            st.switch_page("app_pages/investigation.py", query_params={"trace": job})


def show_review(log: Log, month: str) -> None:
    """The review of a month as PDF, made when it is asked for."""
    st.download_button(
        "Monthly review",
        lambda: set_pdf(monthly_review(log, month)),
        file_name=f"review-{_safe(month)}.pdf",
        mime="application/pdf",
        on_click="ignore",
        icon=":material/print:",
        key=f"review_{month}",
        help="Findings, what came in and left, comebacks, gauges and shims, to print",
    )


def _safe(name: str) -> str:
    return "".join(c if c.isalnum() or c in "-." else "-" for c in name)
