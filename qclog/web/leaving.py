"""Signing a job off: a concession where something is outside limits, then out of the door."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from qclog.domain.moments import now
from qclog.domain.rights import Act
from qclog.errors import InputError
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.services.keeping import rights
from qclog.store.log import Log, Submission
from qclog.web import who
from qclog.web.frame import plain
from qclog.web.problems import show_problem, trying
from qclog.web.storing import storing

if TYPE_CHECKING:
    from qclog.services.overview.sign_off import SignOff


def show_leaving(log: Log, story: Story, found: SignOff) -> None:
    """The steps to let a job go, each in the name of whoever is signed on."""
    job = str(story.job.job)
    name = who.need(log, "sign this job off")
    if name is None:
        return
    changed = _has_changed(job, found)
    able = rights.who_may(log, Act.DISPATCH)
    if able is not None and name not in able:
        who_may = f"{', '.join(able)} may: choose the name at the top of the page" if able else "nobody here may yet"
        st.info(plain(f"Signing off or a concession is not for {name}; {who_may}."), icon=":material/person:")
        return
    if found.needs_concession and not found.conceded:
        with st.form("concession", border=False):
            why = st.text_area(
                f"Concession: what is let pass, and why ({plain(name)} answers for it)", max_chars=400, key=f"why_{job}"
            )
            if st.form_submit_button("Grant the concession"):
                with trying(f"leaving of {job}"):
                    _need_as_seen(changed)
                    jobs.check_concession(why)
                    _say(log, job, "concession", f"{why.strip()} ({name})", name)
            show_problem(f"leaving of {job}")
        cause = "It is outside limits" if found.outside else "A reading is unlikely"
        st.caption(f"{cause}, so it leaves only with a concession, or after it is put right.")
        return
    if not found.clear:
        st.caption("What is listed above stays with the job; signing off says that you have read it.")
    if st.button("Sign off: it leaves now", type="primary", icon=":material/local_shipping:", key=f"leave_{job}"):
        with trying(f"leaving of {job}"):
            _need_as_seen(changed)
            _say(log, job, "dispatched", now(), name)
    show_problem(f"leaving of {job}")


def _has_changed(job: str, found: SignOff) -> bool:
    """Whether something of the job was entered between the last drawing of the page and this one."""
    seen = st.session_state.get("leaving_seen")
    st.session_state["leaving_seen"] = (job, found.of_the_job)
    return seen is not None and seen[0] == job and seen[1] != found.of_the_job


def _need_as_seen(changed: bool) -> None:
    """Nobody signs what was not on the screen when the button was pressed."""
    if changed:
        raise InputError(
            "something of this job was entered after the page was drawn, so nothing was signed",
            field="job",
            hint="it is shown above as it stands now: read it, and press again",
        )


def _say(log: Log, job: str, what: str, value: object, name: str) -> None:
    with storing(Submission(name, "bench", f"{what} of job {job}")) as submission:
        jobs.say(log, job, what, value, submission)
    st.rerun()
