"""Forms that record what befell a unit or a gauge: a comeback, a check, a drop."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time

import streamlit as st

from qclog.domain.claims import COMEBACK_DETAILS
from qclog.domain.jobs import ATTRIBUTABLE, GAUGE_EVENTS
from qclog.domain.moments import now, show_moment
from qclog.services.jobs import claims
from qclog.services.jobs.jobs import Story
from qclog.services.keeping import people
from qclog.store.log import Log, Submission
from qclog.web import who
from qclog.web.frame import plain
from qclog.web.problems import show_problem, trying
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
            sent = st.form_submit_button("Keep this")
        submission = Submission(name, "bench", f"comeback of job {job}")
        if not sent or not hasattr(day, "year"):
            show_problem(submission.what)
            return
        local = datetime.combine(day, time(12), tzinfo=story.zone)
        returned = min(local.astimezone(UTC).replace(tzinfo=None), now())
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


def record_claim(log: Log, story: Story) -> None:
    """What was said of each return since it was opened, and a form to say more of it: the same return, not another."""
    job = str(story.job.job)
    found = claims.claims_of(log, job)
    if not found:
        return
    for claim in found:
        day = show_moment(claim.returned, claim.zone)[:10]
        lines = claim.lines() or ("nothing was said of it since it was opened",)
        st.markdown(f"**Return of {day}**\n\n" + "\n".join(f"- {plain(line)}" for line in lines))
    if log.as_of is not None:
        return
    with st.popover("Say more of the return", icon=":material/edit_note:"):
        name = who.need(log, "write comebacks")
        if name is None:
            return
        with st.form(f"claim_{job}", border=False):
            days = {show_moment(c.returned, c.zone): c.returned for c in found}
            which = st.selectbox("Which return", list(days), index=len(days) - 1)
            what = st.selectbox("What is said", list(COMEBACK_DETAILS), format_func=COMEBACK_DETAILS.__getitem__)
            value = st.text_input("It is (a time as 2026-03-14, an amount as 1.5; blank takes it back)")
            sent = st.form_submit_button("Keep this of the return")
        submission = Submission(name, "bench", f"return of job {job}")
        if not sent:
            show_problem(submission.what)
            return
        _keep(submission, lambda: claims.amend(log, job, {what: value.strip()}, submission, days[which]))


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
        sent = st.form_submit_button("Keep this")
    submission = Submission(name, "bench", f"{event} of gauge {gauge}")
    if not sent or event is None:
        show_problem(submission.what)
        return
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


def _keep(submission: Submission, do: Callable[[], object]) -> None:
    with trying(submission.what):
        with storing(submission):
            do()
        st.rerun()
    show_problem(submission.what)
