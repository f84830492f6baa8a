"""The findings that stand, on the Workshop page; and what stands against a job, on the job page."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from qclog.domain.findings import CAUSES, STATES
from qclog.services.jobs.jobs import Story
from qclog.services.jobs.whereabouts import read_jobs_out
from qclog.services.keeping import sheets
from qclog.services.keeping.signing_on import Worker
from qclog.services.watch import finding_life, finding_words
from qclog.services.watch.finding_life import Followed, Watched
from qclog.store.log import Log, Submission
from qclog.web import leaving, reading, who
from qclog.web.frame import plain
from qclog.web.problems import show_problem, trying
from qclog.web.storing import storing

SHOWN_FIRST = 4
MOST_LINKS = 12
MOST_NAMED = 60


def watched(of: Log) -> Watched:
    """The log as the watch sees it, kept until the log changes."""
    return _watched(of, reading.seen(of), reading.revision(of))


@st.cache_resource(max_entries=2, show_spinner="Looking through the readings ...")
def _watched(_of: Log, seen: str, revision: int) -> Watched:  # noqa: ARG001 - the revision is part of the key
    return finding_life.watch(_of)


def show_standing(log: Log) -> None:
    """Each finding that stands as a card: what, since when, how many have left, what to check next, its jobs."""
    found = watched(log)
    # What goes on comes before what is over; the strongest first in both.
    standing = sorted((f for f in found.followed if f.stands), key=lambda f: f.finding is None or f.finding.over)
    if not found.looked_at:
        return
    st.subheader("What the readings point to")
    gone = read_jobs_out(log) if standing or found.worth_a_look else set()
    if not standing:
        st.success("Nothing stands out after allowing for everything that was looked at.", icon=":material/check:")
    else:
        _cards(log, standing[:SHOWN_FIRST], gone)
        if len(standing) > SHOWN_FIRST:
            with st.expander(f"{len(standing) - SHOWN_FIRST} more of these"):
                _cards(log, standing[SHOWN_FIRST:], gone)
    if found.worth_a_look:
        with st.expander(f"{len(found.worth_a_look)} merely worth a look, too weak to stand"):
            _cards(log, found.worth_a_look, gone)
    if found.settled:
        with st.expander(f"{finding_words.count_settled(found.settled)}"):
            _tell_settled(log, found.settled)
    if standing:
        st.caption("These are suggestions from readings, not proof: look before you act.")


def _tell_settled(log: Log, settled: Sequence[Followed]) -> None:
    zone = sheets.zone_of(log)
    for followed in settled:
        st.markdown(plain(finding_words.said_of(followed)))
        for line in finding_words.tell_history(followed, zone):
            st.caption(plain(line))


def _cards(log: Log, findings: Sequence[Followed], gone: set[str]) -> None:
    zone = sheets.zone_of(log)
    here = who.here(log)
    columns = st.columns(2)
    for number, followed in enumerate(findings):
        finding = followed.finding
        if finding is None:
            continue
        with columns[number % 2].container(border=True):
            st.markdown(f"**{plain(finding.text)}**")
            left = sum(job in gone for job in finding.jobs)
            st.markdown(
                f"{left} of {len(finding.jobs)} left the building; " + plain(finding_words.when_text(finding, zone))
            )
            st.caption(f"chance of such a finding by luck {finding_words.strength_text(finding)}")
            st.markdown(f":material/search: {plain(CAUSES[finding.cause].check_next)}")
            for line in finding_words.tell_state(followed, zone):
                st.caption(plain(line))
            with st.container(horizontal=True):
                with st.popover(f"Its {len(finding.jobs)} jobs" if len(finding.jobs) > 1 else "Its job"):
                    _links(finding.jobs, gone, followed.id)
                if log.as_of is not None:
                    continue
                with st.popover("Say what became of it", key=f"note_on_{followed.id}_{len(followed.notes)}"):
                    _note(log, followed, here)


def _note(log: Log, followed: Followed, here: Worker | None) -> None:
    """What is said of a finding from now on; what was said before stays."""
    name = who.name_or_ask(here, "say something of a finding")
    if name is None:
        return
    with st.form(f"note_{followed.id}", border=False):
        state = st.selectbox("It is", [s for s in STATES if s != "open"], key=f"state_{followed.id}")
        found = st.text_area("What was found, or why it is rejected", max_chars=1000, key=f"found_{followed.id}")
        done = st.text_area("What was done (to close it)", max_chars=1000, key=f"done_{followed.id}")
        problem = st.container()
        sent = st.form_submit_button("Keep this")
    if sent:
        with trying(f"finding {followed.id}"):
            with storing(Submission(name, "bench", f"finding {followed.id}: {state}")) as submission:
                finding_life.note_finding(log, followed.id, state, name, submission, found=found, done=done)
            st.rerun()
    with problem:
        show_problem(f"finding {followed.id}")


def _links(numbers: tuple[str, ...], gone: set[str], key: str) -> None:
    """Jobs still here first: they can still be measured again."""
    ordered = sorted(numbers, key=lambda job: job in gone)
    for job in ordered[:MOST_LINKS]:
        label = plain(f"{job}, {'left' if job in gone else 'still here'}")
        if st.button(label, key=f"finding_{key}_{job}"):
            st.switch_page("app_pages/job.py", query_params={"job": job})
    others = ordered[MOST_LINKS:]
    if others:
        more = f" and {len(others) - MOST_NAMED} more: the Investigation page lists them all"
        st.caption(plain("and " + ", ".join(others[:MOST_NAMED]) + (more if len(others) > MOST_NAMED else "")))


def show_sign_off(log: Log, story: Story) -> None:
    """What stands against dispatching the job; folded away once it has left."""
    from qclog.services.overview import sign_off

    found = sign_off.before_dispatch(log, story.job.job, watched(log))
    left = story.job.dispatched is not None
    title = "What stood against dispatch" if left else "Before dispatch"
    with st.expander(title, expanded=not left, icon=":material/fact_check:"):
        if found.clear:
            st.success("Nothing known stands against this job.", icon=":material/check:")
        for heading, lines in found.sections:
            st.markdown(f"**{plain(heading)}**")
            st.markdown("\n".join(f"- {plain(line)}" for line in lines[:MOST_LINKS]))
            if len(lines) > MOST_LINKS:
                st.caption(f"and {len(lines) - MOST_LINKS} more")
        if found.unplaced:
            st.caption(f"{found.unplaced} of its values had too few of their kind to compare with.")
        st.caption(plain(f"Comebacks of this case type: {found.comebacks}."))
        if not left and log.as_of is None:
            leaving.show_leaving(log, story, found)
