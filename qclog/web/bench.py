"""The bench page's parts: who, which job, which gauge, and the field for the next reading."""

from __future__ import annotations

from typing import Any

import streamlit as st

from qclog.domain.jobs import STAGE_WORDS, Job
from qclog.domain.moments import now
from qclog.domain.readings import Doubt
from qclog.errors import QclogError
from qclog.services import capture, history, jobs, people
from qclog.services.capture import Circumstances, Place, Taken
from qclog.services.jobs import Story, Wanted
from qclog.services.sheets import limits_text
from qclog.services.wording import asked_text, place_text, reading_text, verdict_text
from qclog.store.ids import new_id
from qclog.store.log import Log, Submission
from qclog.web import reading
from qclog.web.focus import put_cursor_in
from qclog.web.frame import plain, show_error
from qclog.web.sums import show_sums

FIELD = "Reading"
REASONS = ("mistyped", "wrong position", "wrong gauge", "re-seated and read again", "another reason")


def choose_job(log: Log) -> str | None:
    """Which job: those in work, the last touched first, or a new one."""
    rows = [r for r in jobs.list_jobs(log, most=500) if r["dispatched"] is None]
    asked = st.query_params.get("job")
    about = {r["job"]: r for r in rows}
    if asked and asked not in about:
        about = {asked: {"case_type": "", "case_serial": None}} | about
    numbers = list(about)
    if "bench_job" not in st.session_state and asked:
        st.session_state["bench_job"] = asked
    field, new = st.columns([3, 1], vertical_alignment="bottom")
    chosen: str | None = field.selectbox(
        "Job",
        numbers,
        index=None,
        placeholder="type part of a job number",
        key="bench_job",
        format_func=lambda n: ", ".join(str(x) for x in (n, about[n]["case_type"], about[n]["case_serial"]) if x),
    )
    with new.popover("New job"):
        _open_new(log)
    return chosen


def _open_new(log: Log) -> None:
    sheets = {r.sheet.code: r.sheet.name for r in reading.overview(log)}
    if not sheets:
        st.info("Add a case-type sheet first: `qclog sheet add FILE`")
        return
    with st.form("new_job", border=False):
        number = st.text_input("Job number")
        case_type = st.selectbox("Case type", list(sheets), format_func=lambda c: f"{c}: {sheets[c]}")
        serial = st.text_input("Case serial (if it has one)")
        batch = st.text_input("Machining batch (if it was machined)")
        if st.form_submit_button("Open the job") and number.strip():
            job = Job(number.strip(), case_type, now(), serial.strip() or None, machining_batch=batch.strip() or None)
            who = st.session_state.get("person") or "bench"
            try:
                jobs.open_job(log, job, Submission(who, "bench", f"open job {job.job}"))
            except QclogError as error:
                show_error(error)
                return
            st.query_params["job"] = job.job
            del st.session_state["bench_job"]
            st.rerun()


def explain_start(person: str | None, job: str | None) -> None:
    """What is missing before a reading can be logged."""
    missing = [word for word, value in (("your name", person), ("the job", job)) if value is None]
    st.info(f"Choose {' and '.join(missing)} to begin.", icon=":material/arrow_upward:")


def choose_gauge(log: Log, story: Story) -> str | None:
    """Which gauge: those of the kind that the next place wants first, withdrawn ones left out."""
    rows = [g for g in people.list_gauges(log) if not g["withdrawn"]]
    wanted = _next(story)
    kind = wanted.characteristic.gauge_kind if wanted else None
    rows.sort(key=lambda g: (g["kind"] != kind, g["gauge"]))
    fitting = [g["gauge"] for g in rows if kind is None or g["kind"] == kind]
    chosen: str | None = st.selectbox(
        f"Gauge ({kind.replace('_', ' ')})" if kind else "Gauge",
        fitting or [g["gauge"] for g in rows],
        index=None,
        placeholder="not said",
        key=f"gauge_{kind}",
    )
    return chosen


def show_cautions(story: Story) -> None:
    """The sheet's caution, above everything."""
    if story.sheet.caution:
        st.caption(f":material/health_and_safety: {plain(story.sheet.caution)}")


def _next(story: Story) -> Wanted | None:
    """The place the cursor is for: the one chosen from the list, else the first still wanted that wasn't skipped."""
    chosen = st.session_state.get("bench_place")
    skipped = st.session_state.get("bench_skipped", set())
    for wanted in story.wanted:
        if wanted.place == chosen:
            return wanted
    left = [w for w in story.missing if w.place not in skipped]
    return left[0] if left else None


def ask(log: Log, story: Story, person: str, gauge: str | None) -> None:
    """The field for the next reading, what it should be, and what became of the last one."""
    wanted = _next(story)
    job = str(story.job["job"])
    _show_last(log, job)
    if wanted is None:
        done = not story.missing
        st.success(
            "Everything the sheet wants is read." if done else "The rest was skipped: choose a place from the list."
        )
        with st.popover("Correct last"):
            _correct(log, story, person, "last")
        show_sums(log, story, None)
        return
    c = wanted.characteristic
    st.subheader(place_text(wanted.place, c))
    st.caption(plain(_what_is_asked(story, wanted)))
    conditions = _ask_conditions(wanted)
    token = st.session_state.setdefault("bench_token", str(new_id()))
    submission = Submission(person, "bench", f"reading of job {wanted.place.job}")
    how = Circumstances(person, gauge, None, conditions)
    with st.form(f"reading_{token}", border=True):
        st.text_input(FIELD, key=f"said_{token}")
        st.form_submit_button(
            "Store",
            type="primary",
            width="stretch",
            on_click=_store,
            args=(log, wanted.place, how, submission, f"said_{token}"),
        )
    if c.in_words:
        for column, word in zip(st.columns(len(c.words)), c.words, strict=True):
            column.button(
                word,
                width="stretch",
                key=f"word_{word}_{token}",
                on_click=_store_text,
                args=(log, wanted.place, how, submission, word),
            )
    first, second, third = st.columns(3)
    first.button("Skip for now", width="stretch", on_click=_skip, args=(wanted.place,))
    with second.popover("Not accessible", width="stretch"):
        why = st.text_input("Why?", key=f"why_{token}")
        st.button(
            "Store as not accessible",
            key=f"none_{token}",
            on_click=_store_text,
            args=(log, wanted.place, how, submission, f"not accessible: {why}" if why else "not accessible"),
        )
    with third.popover("Correct last", width="stretch"):
        _correct(log, story, person, token)
    put_cursor_in(FIELD, f"{token} {gauge} {conditions}")  # back to the field once these are said, too
    show_sums(log, story, wanted)


def _what_is_asked(story: Story, wanted: Wanted) -> str:
    c = wanted.characteristic
    limits = limits_text(story.limits_for(wanted))
    in_unit = f"limits {limits} {c.unit}" if limits else f"in {c.unit}"
    parts = [" or ".join(c.words) if c.in_words else in_unit]
    parts += ["15/16 for 15 goes, 16 does not"] if c.gauge_kind == "feeler" else []
    parts += [x for x in (c.view or story.sheet.view if c.positions else None, c.caution) if x]
    return ". ".join(p[0].upper() + p[1:] for p in parts)


def _ask_conditions(wanted: Wanted) -> tuple[str, ...]:
    chosen = []
    for group in wanted.characteristic.conditions:
        choices = group.split("|")
        word = st.segmented_control(
            " or ".join(choices),
            choices,
            default=choices[0] if len(choices) == 1 else None,
            key=f"condition_{wanted.characteristic.code}_{group}",
            label_visibility="collapsed",
        )
        if word:
            chosen.append(word)
    return tuple(chosen)


def _store(log: Log, place: Place, how: Circumstances, submission: Submission, key: str) -> None:
    text = str(st.session_state.get(key, ""))
    if text.strip():
        _store_text(log, place, how, submission, text)


def _store_text(log: Log, place: Place, how: Circumstances, submission: Submission, text: str) -> None:
    """Store and go on. The submission was made when the form was drawn, so a double Enter stores once."""
    try:
        st.session_state["bench_last"] = capture.take(log, place, text, how, submission)
        st.session_state["bench_error"] = None
        st.session_state.pop("bench_place", None)
        st.session_state.pop("bench_token", None)
    except QclogError as error:
        st.session_state["bench_error"] = error


def _skip(place: Place) -> None:
    st.session_state.setdefault("bench_skipped", set()).add(place)
    st.session_state.pop("bench_place", None)
    st.session_state.pop("bench_token", None)


def _correct(log: Log, story: Story, person: str, token: str) -> None:
    rows = [r.row for r in story.readings if not r.row["replaced"] and not r.row["struck_why"]]
    if not rows:
        st.write("Nothing was read here yet.")
        return
    last = max(rows, key=lambda row: (row["entry"], str(row["id"])))
    place = Place(last["job"], last["characteristic"], last["stage"], last["position"])
    where = place_text(place, story.sheet.characteristic(place.characteristic))
    st.write(plain(f"{where}: {reading_text(last)}. It stays in the log, with the reason."))
    st.text_input("What it should be", key=f"fix_{token}")
    st.selectbox("Why", REASONS, key=f"reason_{token}")
    gauges = [str(g["gauge"]) for g in people.list_gauges(log)]
    at = gauges.index(last["gauge"]) if last["gauge"] in gauges else None
    st.selectbox("Read with", gauges, index=at, placeholder="not said", key=f"with_{token}_{last['id']}")
    st.button(
        "Correct it",
        type="primary",
        key=f"do_fix_{token}",
        on_click=_store_correction,
        args=(log, place, last["attempt"], person, token, f"with_{token}_{last['id']}"),
    )


def _store_correction(log: Log, place: Place, attempt: int, person: str, token: str, gauge_key: str) -> None:
    text, reason = str(st.session_state[f"fix_{token}"]), str(st.session_state[f"reason_{token}"])
    how = Circumstances(person, st.session_state.get(gauge_key))
    _put_right(log, place, attempt, text, reason, how)


def _put_right(log: Log, place: Place, attempt: int, text: str, reason: str, how: Circumstances) -> None:
    submission = Submission(how.technician, "bench", f"correction in job {place.job}")
    try:
        st.session_state["bench_last"] = capture.correct(log, place, attempt, text, reason, how, submission)
        st.session_state["bench_error"] = None
        st.session_state.pop("bench_token", None)
    except QclogError as error:
        st.session_state["bench_error"] = error


def _show_last(log: Log, job: str) -> None:
    """The last reading read back in words, with its verdict; or what was wrong with what was typed."""
    if st.session_state.get("bench_shown") != job:  # what was said of another job is no answer here
        st.session_state["bench_shown"] = job
        st.session_state["bench_last"] = st.session_state["bench_error"] = None
    error = st.session_state.get("bench_error")
    if error is not None:
        show_error(error)
    last: Taken | None = st.session_state.get("bench_last")
    if last is None and error is not None:
        return
    if last is None:
        st.caption("What you enter is read back here.")
        return
    c = history.characteristic_of(log, last.place)
    said = [last.read_back, verdict_text(last.verdict, c), history.standing(log, last)]
    text = plain("; ".join(x for x in said if x))
    where = plain(place_text(last.place, c))
    if last.verdict.out:
        st.error(
            f"**{text}**  \n{where}. Limits: {plain(asked_text(c, last.verdict))}. Stored as read.",
            icon=":material/error:",
        )
    elif last.verdict.result == "too close to call":
        st.warning(f"**{text}**  \n{where}", icon=":material/help:")
    else:
        st.success(f"**{text}**  \n{where}", icon=":material/check:")
    if last.doubt is not None:
        _show_doubt(log, last, last.doubt)


def _show_doubt(log: Log, last: Taken, doubt: Doubt) -> None:
    st.warning(plain(doubt.question) + " It is stored as it was typed.", icon=":material/help:")
    for suggestion in doubt.suggestions[:3]:
        st.button(
            f"It was {plain(suggestion.text)}",
            key=f"meant_{suggestion.text}_{last.id}",
            on_click=_store_meant,
            args=(log, last, suggestion.text),
        )


def _store_meant(log: Log, last: Taken, text: str) -> None:
    person = st.session_state.get("person") or "bench"
    _put_right(log, last.place, last.attempt, text, "unit mistyped", Circumstances(person))


def show_places(story: Story) -> None:
    """What the sheet wants, place by place; any may be chosen to read (again)."""
    done = [w for w in story.wanted if w.done]
    st.subheader("The sheet")
    if story.wanted:
        st.progress(len(done) / len(story.wanted), text=f"{len(done)} of {len(story.wanted)} places read")
    latest = {
        (r.row["characteristic"], r.row["stage"], r.row["position"]): r for r in story.readings if r.row["counts"]
    }
    current = _next(story)
    with st.container(height=520, border=False, gap=None):
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
        on_click=_choose_place,
        args=(p,),
    )


def _choose_place(place: Place) -> None:
    st.session_state["bench_place"] = place
    st.session_state.pop("bench_token", None)
