"""The job page's parts."""

from __future__ import annotations

import streamlit as st

from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.moments import show_moment
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.services.jobs.remarks import remarks_on
from qclog.store.log import Log
from qclog.web.frame import plain
from qclog.web.tables import show_facts_in_a_row, show_table, without_blank
from qclog.words.sentences import asked_text, place_text, reading_text, result_text, verdict_text


def choose(log: Log) -> str | None:
    """Find a job by any part of its number, serial, batch, customer reference or lot."""
    asked = st.query_params.get("job", "")
    text = st.text_input(
        "Find a job",
        value=asked,
        placeholder="number, serial, batch, customer reference or lot",
        key=f"find_job_{asked}",
    )
    rows = jobs.list_jobs(log, text, most=100)
    if not rows:
        st.info("No job found." if text else "No jobs yet. Open one on the Bench page.")
        return None
    numbers = [r.job for r in rows]
    if text in numbers:
        return text
    about = {r.job: r for r in rows}
    job: str | None = st.selectbox(
        f"{len(rows)} found" if len(rows) < 100 else "The first 100 found",
        numbers,
        index=0 if len(rows) == 1 else None,
        format_func=lambda n: ", ".join(
            str(x) for x in (n, about[n].case_type, about[n].case_serial, about[n].machining_batch) if x
        ),
        placeholder="choose one",
    )
    return job


def show_head(story: Story) -> None:
    """What the job is."""
    job, zone = story.job, story.zone
    st.header(f"Job {plain(job.job)}: {plain(story.sheet.name)}")
    facts = [
        ("case type", job.case_type),
        ("serial", job.case_serial),
        ("casting", job.casting),
        ("rebuild", job.rebuild),
        ("machining batch", job.machining_batch),
        ("variant", job.variant),
        ("customer", job.customer_ref),
        ("opened", show_moment(job.opened, zone)),
        ("dispatched", show_moment(job.dispatched, zone) or "not yet"),
    ]
    given = [(name, str(value)) for name, value in facts if value not in (None, "")]
    show_facts_in_a_row(dict(given))
    for name, said in (("Outstanding", job.outstanding), ("Concession", job.concession)):
        if said:
            st.warning(f"{name}: {plain(said)}", icon=":material/pending_actions:")
    others = [v for v in story.visits if v.job != job.job]
    for visit in others:
        when = "Earlier" if visit.opened < job.opened else "Later"
        number = f", rebuild {visit.rebuild}" if visit.rebuild is not None else ""
        label = f"{when} visit of this case: job {visit.job}, {show_moment(visit.opened, zone)}{number}"
        if st.button(plain(label), icon=":material/history:", key=f"visit_{visit.job}"):
            st.switch_page("app_pages/job.py", query_params={"job": visit.job})
    if story.sheet.caution:
        st.info(plain(story.sheet.caution), icon=":material/health_and_safety:")


def show_left_to_do(story: Story) -> None:
    """How far it is, and what is still wanted."""
    total, missing = len(story.wanted), story.missing
    if not total:
        return
    st.progress((total - len(missing)) / total, text=f"{total - len(missing)} of {total} places read")
    if missing:
        with st.expander(f"Still wanted: {len(missing)}"):
            for w in missing:
                st.write(plain(place_text(w.place, w.characteristic)))


def show_readings(story: Story) -> None:
    """Every reading, with every attempt and correction."""
    st.subheader(f"Readings ({len(story.readings)})")
    if not story.readings:
        st.info("No readings yet. Log them on the Bench page.")
        return
    told = story.readings
    columns: dict[str, list[object]] = {
        "what": [t.characteristic.name if t.characteristic else t.row.characteristic for t in told],
        "stage": [STAGE_WORDS[t.row.stage] for t in told],
        "at": [t.row.position for t in told],
        "try": [t.row.attempt for t in told],
        "read": [reading_text(t.row) for t in told],
        "verdict": [verdict_text(t.verdict, t.characteristic) if t.row.counts else "" for t in told],
        "remarks": [remarks_on(t, story) for t in told],
        "gauge": [t.row.gauge for t in told],
        "read by": [t.row.technician for t in told],
        "taken": [show_moment(t.row.taken_at, story.zone) for t in told],
        "entered": [show_moment(t.row.entered_at, story.zone) for t in told],
        "limits that day": [asked_text(t.characteristic, t.verdict) if t.characteristic else "" for t in told],
        "entered by": [t.row.entered_by for t in told],
        "sheet": [t.version for t in told],
    }
    show_table(without_blank(columns, "at", "verdict", "remarks", "limits that day"))


def show_derived(story: Story) -> None:
    """What follows from the readings."""
    done = [d for d in story.derived if d.known]
    if not done:
        return
    st.subheader("Worked out from these")
    columns: dict[str, list[object]] = {
        "what": [d.characteristic.name for d in done],
        "stage": [STAGE_WORDS[d.stage] for d in done],
        "value": [result_text(d) for d in done],
        "verdict": [verdict_text(d.verdict, d.characteristic) for d in done],
        "limits": [asked_text(d.characteristic, d.verdict) for d in done],
        "from": [d.characteristic.formula for d in done],
    }
    show_table(without_blank(columns, "verdict", "limits"))


def show_parts(story: Story) -> None:
    """Parts and lots."""
    if not story.parts:
        return
    st.subheader("Parts and lots")
    names = ("part", "lot", "supplier", "condition", "sub_assembly", "entered_by")
    columns: dict[str, list[object]] = {
        name.replace("_", " "): [getattr(p, name) for p in story.parts] for name in names
    }
    columns["part"] = [str(part).replace("_", " ") for part in columns["part"]]
    show_table(without_blank(columns, "supplier", "sub assembly"))


def show_comebacks(story: Story) -> None:
    """Comebacks, if there were any."""
    for back in story.comebacks:
        hours = f" after {back.hours:g} h" if back.hours is not None else ""
        said = [f"Came back {show_moment(back.returned, story.zone)}{hours}: {back.complaint or 'no complaint noted'}"]
        if back.finding:
            said.append(f"Found: {back.finding}")
        if back.attributable:
            said.append(f"Ours: {back.attributable}")
        st.error(plain(". ".join(said)), icon=":material/assignment_return:")
