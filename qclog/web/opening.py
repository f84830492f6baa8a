"""Opening a job on the bench page: what it is, its number, and what is known of its case."""

from __future__ import annotations

import streamlit as st

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.sheets.casetypes import Sheet
from qclog.errors import InputError
from qclog.services.jobs import jobs
from qclog.services.overview.bench_view import BenchView
from qclog.store.log import Log, Submission
from qclog.web import bench_state
from qclog.web.problems import show_problem, trying
from qclog.web.storing import storing


def open_new(log: Log, view: BenchView, person: str | None) -> str | None:
    """The button "New job" and what is asked there; the number once it is open, and then it has folded away."""
    with st.popover("New job", key=f"new_job_{bench_state.current().jobs_opened}"):
        if not view.around.sheets:
            st.info("Add a case-type sheet first, at the terminal: `qclog sheet add FILE`")
            return None
        if person is None:
            st.info("Choose your name first: a job is opened in somebody's name.")
            return None
        case_type: str | None = st.selectbox(
            "Case type",
            list(view.around.sheets),
            index=0 if len(view.around.sheets) == 1 else None,
            placeholder="choose what it is",
            filter_mode="contains",
            format_func=lambda code: f"{code}: {view.around.sheets[code].name}",
        )
        opened = None if case_type is None else _ask_about(log, view.around.sheets[case_type], person)
    if opened is not None:
        bench_state.current().jobs_opened += 1
    return opened


def _ask_about(log: Log, sheet: Sheet, person: str) -> str | None:
    with st.form("new_job", border=False):
        number = st.text_input("Job number")
        variant: str | None = None
        if sheet.variants:
            names = {v.code: v.name for v in sheet.variants}
            variant = st.selectbox(
                "Variant",
                list(names),
                index=None,
                placeholder="not known yet",
                format_func=lambda code: f"{code}: {names[code]}",
            )
        serial = st.text_input("Case serial (if it has one)")
        rebuild = st.number_input("Rebuild (1 for its first, if known)", value=None, min_value=0, step=1)
        batch = st.text_input("Machining batch (if it was machined)")
        customer = st.text_input("Customer's reference (if there is one)")
        problem = st.container()
        sent = st.form_submit_button("Open the job", type="primary", width="stretch")
    if sent:
        with trying("new job"):
            job = Job(
                number.strip(),
                sheet.code,
                now(),
                case_serial=serial.strip() or None,
                rebuild=rebuild,
                variant=variant,
                machining_batch=batch.strip() or None,
                customer_ref=customer.strip() or None,
            )
            if not job.job:
                raise InputError("a job needs a number", field="job", hint="type it above, as it is on the paperwork")
            with storing(Submission(person, "bench", f"open job {job.job}")) as submission:
                jobs.open_job(log, job, submission)
            return job.job
    with problem:
        show_problem("new job")
    return None
