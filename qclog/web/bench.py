"""The bench page's parts: which job, which gauge, the list of places, and what a scanner brings."""

from __future__ import annotations

from typing import Any

import streamlit as st

from qclog.domain import stored
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.speech.scans import Scan, read_scan
from qclog.errors import InputError, LogError, QclogError, UnknownNameError
from qclog.services.jobs import jobs
from qclog.services.jobs.capture import Taken
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.overview import bench_view
from qclog.services.overview.bench_view import BenchView
from qclog.store.log import Log
from qclog.web import bench_state, opening, reading
from qclog.web.frame import plain, show_error
from qclog.web.storing import has_taken
from qclog.words.sentences import reading_text, verdict_text

_MOST_UNSCROLLED = 8  # places; a longer list scrolls by itself, so that what is below it stays at hand


def look(log: Log) -> BenchView:
    """What the page shows; the job is the one chosen, or the one asked for in the address."""
    asked = st.query_params.get("job")
    if bench_state.JOB not in st.session_state and asked:
        st.session_state[bench_state.JOB] = asked
    chosen = st.session_state.get(bench_state.JOB)
    last = bench_state.current().last
    try:
        return bench_view.look(log, chosen, last, reading.around(log), lambda *of: reading.rows_lately(log, *of))
    except UnknownNameError as error:
        st.session_state[bench_state.JOB] = None
        st.query_params.pop("job", None)
        show_error(error)
        return bench_view.look(log, None, None)


def choose_job(log: Log, view: BenchView, person: str | None) -> str | None:
    """Which job: those in work, the last touched first, or a new one."""
    about = {r.job: (r.case_type, r.case_serial) for r in view.in_work}
    asked = st.session_state.get(bench_state.JOB)
    if asked and asked not in about and view.story is not None:
        about = {asked: (view.story.job.case_type, view.story.job.case_serial)} | about
    field, new = st.columns([3, 1], vertical_alignment="bottom")
    chosen: str | None = field.selectbox(
        "Job",
        list(about),
        index=None,
        placeholder="scan the job card, or type",
        key=bench_state.JOB,
        format_func=lambda n: ", ".join(str(x) for x in (n, *about[n]) if x),
    )
    with new:
        opened = opening.open_new(log, view, person)
    if opened is not None:
        st.query_params["job"] = opened
        del st.session_state[bench_state.JOB]
        st.rerun()
    return chosen


def explain_start(person: str | None, job: str | None) -> None:
    """What is missing before a reading can be logged."""
    missing = [word for word, value in (("your name", person), ("the job", job)) if value is None]
    st.info(f"Choose {' and '.join(missing)} to begin.", icon=":material/arrow_upward:")


def choose_gauge(view: BenchView, story: Story) -> stored.Gauge | None:
    """Which gauge: those of the kind that the next place wants, or all if there is none of it."""
    wanted = next_place(story)
    kind = wanted.characteristic.gauge_kind if wanted else None
    of_kind = [g for g in view.around.gauges if kind is None or g.kind == kind] or list(view.around.gauges)
    chosen: str | None = st.selectbox(
        f"Gauge ({kind.replace('_', ' ')})" if kind else "Gauge",
        [g.gauge for g in of_kind],
        index=None,
        placeholder="not said",
        key=f"gauge_{kind}",
    )
    return next((g for g in of_kind if g.gauge == chosen), None)


def show_cautions(story: Story) -> None:
    """The sheet's caution, above everything."""
    if story.sheet.caution:
        st.caption(f":material/health_and_safety: {plain(story.sheet.caution)}")


def next_place(story: Story) -> Wanted | None:
    """The place the cursor is for: the one chosen from the list, else the first still wanted that wasn't skipped."""
    chosen = chosen_place(story)
    if chosen is not None:
        return chosen[0]
    return next(iter(upcoming(story)), None)


def upcoming(story: Story) -> list[Wanted]:
    """The places still to be read, in the sheet's order, without those that were skipped."""
    skipped = bench_state.current().skipped
    return [w for w in story.missing if w.place not in skipped]


def chosen_place(story: Story) -> tuple[Wanted, int] | None:
    """The place chosen from the list, and the number of that choice."""
    state = bench_state.current()
    return next(((w, state.choices) for w in story.wanted if w.place == state.chosen), None)


def show_stored(taken: Taken) -> None:
    """What was stored last is read back on the page."""
    has_taken(taken)
    state = bench_state.current()
    state.last, state.error, state.scanned = taken, None, None


def show_places(story: Story) -> None:
    """What the sheet wants, place by place; any may be chosen to read (again)."""
    done = [w for w in story.wanted if w.done]
    st.subheader("The sheet")
    if story.wanted:
        st.progress(len(done) / len(story.wanted), text=f"{len(done)} of {len(story.wanted)} places read")
    latest = {(r.row.characteristic, r.row.stage, r.row.position): r for r in story.readings if r.row.counts}
    current = next_place(story)
    with st.container(height=520 if len(story.wanted) > _MOST_UNSCROLLED else "content", border=False, gap=None):
        for heading, group in _by_characteristic(story.wanted):
            st.caption(plain(heading))
            for wanted in group:
                _place_button(wanted, latest, current)


def _by_characteristic(wanted: tuple[Wanted, ...]) -> list[tuple[str, list[Wanted]]]:
    groups: dict[tuple[str, str], list[Wanted]] = {}
    for w in wanted:
        groups.setdefault((w.characteristic.code, w.place.stage), []).append(w)
    return [(f"{g[0].characteristic.name}, {STAGE_WORDS[stage]}", g) for (_, stage), g in groups.items()]


def _place_button(wanted: Wanted, latest: dict[Any, Any], current: Wanted | None) -> None:
    p = wanted.place
    told = latest.get((p.characteristic, p.stage, p.position))
    at = f"at {p.position}: " if p.position else ""
    if told is not None:
        said = "; ".join(x for x in (reading_text(told.row), verdict_text(told.verdict, told.characteristic)) if x)
        icon = ":material/error:" if told.verdict.out else ":material/check:"
    else:
        said, icon = "wanted", ":material/radio_button_unchecked:"
    here = current is not None and current.place == p
    st.button(
        plain(at + said),
        icon=":material/arrow_forward:" if here else icon,
        type="primary" if here else "tertiary",
        key=f"place_{p.characteristic}_{p.stage}_{p.position}",
        on_click=bench_state.current().choose,
        args=(p,),
    )


def take_scan(log: Log, text: str) -> bool:
    """What a scanned code asks for: a job is opened, a gauge chosen, a lot made ready to be added as a part.

    False if it could not be done, which the page says.
    """
    state = bench_state.current()
    state.scans += 1
    try:
        scan = read_scan(text)
        if scan is None:
            raise InputError("this code is none of this workshop's", field="code", found=text[:60])
        state.error = None
        state.scanned = _obey(log, scan)
    except LogError:
        raise
    except QclogError as error:
        state.error, state.last = error, None
        return False
    return True


def tell_scan() -> None:
    """On a page without the field: what the code that was just scanned did, or why not."""
    state = bench_state.current()
    if state.scans_told == state.scans:
        return
    state.scans_told = state.scans
    told = str(state.error) if state.error is not None else state.scanned
    if told:
        st.toast(plain(told), icon=":material/qr_code_scanner:", duration="long")


def _obey(log: Log, scan: Scan) -> str:
    if scan.kind == "job":
        if not any(row.job == scan.name for row in jobs.list_jobs(log, scan.name)):
            raise UnknownNameError("no job of that number", field="job", found=scan.name, hint="open it with New job")
        st.session_state[bench_state.JOB] = scan.name
        st.query_params["job"] = scan.name
        return f"Job {scan.name}"
    if scan.kind == "gauge":
        gauges = {g.gauge: g for g in bench_view.look_around(log).gauges}
        if scan.name not in gauges:
            raise UnknownNameError("no gauge of that name, or it is withdrawn", field="gauge", found=scan.name)
        for kind in (gauges[scan.name].kind, None):
            st.session_state[f"gauge_{kind}"] = scan.name
        return f"Gauge {scan.name}"
    bench_state.current().lot = scan.name
    return f"Lot {scan.name}: choose the part below to add it"
