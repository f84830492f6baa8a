"""Beside the sheet on the bench: parts and lots fitted, what is left to do, and the way to sign-off."""

from __future__ import annotations

import streamlit as st

from qclog.domain.jobs import CONDITIONS_OF_PARTS, Part
from qclog.errors import InputError
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.store.log import Log, Submission
from qclog.web import bench_state
from qclog.web.frame import plain
from qclog.web.problems import show_problem, trying
from qclog.web.storing import storing


def show_the_rest(log: Log, story: Story, person: str) -> None:
    """Parts, outstanding work, sign-off: each one press away, none in the way of the next reading."""
    lot = bench_state.current().lot
    job = str(story.job.job)
    with st.expander(f"Parts and lots ({len(story.parts)})", icon=":material/deployed_code:", expanded=bool(lot)):
        _show_parts(story)
        _add_part(log, story, person, lot)
    left = story.job.outstanding
    with st.expander("Left to do: " + (plain(left) if left else "nothing noted"), icon=":material/pending_actions:"):
        _note_left(log, job, left, person)
    if st.button("Check and sign off", icon=":material/fact_check:", width="stretch", key="to_sign_off"):
        st.switch_page("app_pages/job.py", query_params={"job": job})


def _show_parts(story: Story) -> None:
    for p in story.parts:
        said = [p.condition, f"lot {p.lot}" if p.lot else "", p.supplier, p.sub_assembly]
        st.caption(plain(f"{p.part.replace('_', ' ')}: {', '.join(s for s in said if s) or 'nothing more said'}"))


def _add_part(log: Log, story: Story, person: str, lot: str | None) -> None:
    """Kinds of part that the sheet's limits depend on are chosen from a list; any other is said in words.

    They are two fields because one that takes both offers what was typed before what is in the list.
    """
    kinds = list(dict.fromkeys(part for c in story.sheet.characteristics for part in c.parts))
    with st.form(f"part_{bench_state.current().parts_added}", border=False):
        listed = None
        if kinds:
            listed = st.selectbox(
                "Part",
                kinds,
                index=None,
                placeholder="those that limits depend on",
                filter_mode="contains",
                format_func=lambda k: str(k).replace("_", " "),
            )
        other = st.text_input("Another part, in words" if kinds else "Part")
        number = st.text_input("Lot", value=lot or "", placeholder="scan or type", key=f"lot_{lot}_{len(story.parts)}")
        condition = st.segmented_control("Condition", CONDITIONS_OF_PARTS, default="new")
        supplier = st.text_input("Supplier (if it matters)")
        unit = st.text_input("Job of the sub-assembly (if it was one)")
        sent = st.form_submit_button("Add the part", width="stretch")
    form = f"part of {story.job.job}"
    if sent:
        with trying(form):
            part = Part(
                str(story.job.job),
                _one_of(listed, other),
                number.strip() or None,
                supplier.strip() or None,
                condition,
                unit.strip() or None,
            )
            with storing(Submission(person, "bench", f"part of job {part.job}: {part.part}")) as submission:
                jobs.add_part(log, part, submission)
            state = bench_state.current()
            state.lot = state.scanned = None
            state.parts_added += 1
            st.rerun()
    show_problem(form)


def _one_of(listed: str | None, other: str) -> str:
    typed = "_".join(other.split())
    if listed and typed and typed != listed:
        raise InputError("two parts were named", field="part", found=f"{listed.replace('_', ' ')} and {other.strip()}")
    if not (listed or typed):
        raise InputError("no part was named", field="part", hint="choose it from the list, or say it in words")
    return listed or typed


def _note_left(log: Log, job: str, left: str | None, person: str) -> None:
    with st.form("left_to_do", border=False):
        text = st.text_area("What is left to do", value=left or "", max_chars=400)
        if st.form_submit_button("Note it", width="stretch"):
            with trying(f"left to do on {job}"):
                with storing(Submission(person, "bench", f"left to do on job {job}")) as submission:
                    jobs.say(log, job, "outstanding", text.strip(), submission)
                st.rerun()
        show_problem(f"left to do on {job}")
