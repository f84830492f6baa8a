"""Forms that record what befell a unit or a gauge: a comeback, a check, a drop."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time

import streamlit as st

from qclog.domain.jobs import ATTRIBUTABLE, GAUGE_EVENTS
from qclog.domain.moments import now
from qclog.errors import QclogError
from qclog.services.jobs.jobs import Story
from qclog.services.keeping import people
from qclog.store.log import Log, Submission
from qclog.web import who
from qclog.web.frame import plain, show_error
from qclog.web.storing import storing


def record_comeback(log: Log, story: Story) -> None:
    """A job that came back: when, with what complaint, what was found, whether it was ours. It may be said again."""
    job = str(story.job.job)
    with st.popover("It came back", icon=":material/assignment_return:"):
        name = who.need(log, "write a comeback")
        if name is None:
            return
        with st.form(f"comeback_{job}", border=False):
            day = st.date_input("Came back on", value="today")
            complaint = st.text_area("Complaint, in the customer's words", max_chars=1000)
            found = st.text_area("What was found (blank while it is open)", max_chars=1000)
            ours = st.segmented_control("Was it ours", ATTRIBUTABLE, default="open")
            hours = st.number_input("Hours it had run", min_value=0.0, value=None, step=10.0)
            if not st.form_submit_button("Keep this") or not hasattr(day, "year"):
                return
        local = datetime.combine(day, time(12), tzinfo=story.zone)
        returned = min(local.astimezone(UTC).replace(tzinfo=None), now())
        submission = Submission(name, "bench", f"comeback of job {job}")
        _keep(
            submission,
            lambda: people.add_comeback(
                log,
                job,
                returned,
                submission,
                complaint=complaint.strip() or None,
                finding=found.strip() or None,
                attributable=ours,
                hours=hours,
            ),
        )


def record_gauge_event(log: Log, gauge: str, unit: str) -> None:
    """What befell a gauge now: checked against a reference, dropped, withdrawn, returned, calibrated."""
    name = who.need(log, f"record a check of {gauge}")
    if name is None:
        return
    with st.form(f"event_{gauge}"):
        st.markdown(f"**{plain(gauge)}, now**")
        event = st.segmented_control("What happened", GAUGE_EVENTS, default=GAUGE_EVENTS[0])
        left, right = st.columns(2)
        reference = left.number_input(f"Reference ({unit}), for a check", value=None, format="%.6g")
        reading = right.number_input(f"It read ({unit})", value=None, format="%.6g")
        note = st.text_input("Note", max_chars=400)
        if not st.form_submit_button("Keep this") or event is None:
            return
    submission = Submission(name, "bench", f"{event} of gauge {gauge}")
    _keep(
        submission,
        lambda: people.check_gauge(
            log,
            gauge,
            event,
            submission,
            reference=reference,
            reading=reading,
            unit=unit,
            by=name,
            note=note.strip() or None,
        ),
    )


def _keep(submission: Submission, do: Callable[[], None]) -> None:
    try:
        with storing(submission):
            do()
    except QclogError as error:
        show_error(error)
        return
    st.rerun()
