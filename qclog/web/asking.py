"""The field for the next reading, what it should be, and what became of the last one."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from qclog.bench import go_no_go
from qclog.domain import stored
from qclog.domain.places import Place
from qclog.domain.sheets.conditions import choices_of, split_off
from qclog.domain.speech.readings import Doubt
from qclog.domain.speech.scans import is_scan
from qclog.errors import QclogError
from qclog.services.jobs import capture
from qclog.services.jobs.capture import Circumstances, Taken
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.overview import bench_view
from qclog.services.overview.bench_view import BenchView
from qclog.store.ids import new_id
from qclog.store.log import Log, Submission
from qclog.web import bench, who
from qclog.web.clock import is_clock, show_clock
from qclog.web.focus import put_cursor_in
from qclog.web.frame import plain, show_error
from qclog.web.storing import has_taken
from qclog.web.sums import show_sums
from qclog.words.numbers import limits_text
from qclog.words.sentences import asked_text, place_text, reading_text, verdict_text

FIELD = "Reading"
CORRECT = "correct "
REASONS = ("mistyped", "wrong position", "wrong gauge", "re-seated and read again")


def ask(log: Log, view: BenchView, story: Story, person: str, gauge: stored.Gauge | None) -> None:
    """The field for the next reading, what it should be, and what became of the last one."""
    wanted = bench.next_place(story)
    _show_last(view, str(story.job.job))
    if wanted is None:
        _say_done(log, view, story, person)
        return
    c = wanted.characteristic
    _show_place(story, wanted)
    conditions = _ask_conditions(wanted)
    token = st.session_state.setdefault("bench_token", str(new_id()))
    submission = Submission(person, "bench", f"reading of job {wanted.place.job}")
    how = Circumstances(person, gauge.gauge if gauge else None, None, conditions)
    with st.form(f"reading_{token}", border=True):
        st.text_input(FIELD, key=f"said_{token}")
        st.form_submit_button(
            "Store",
            type="primary",
            width="stretch",
            on_click=_store,
            args=(log, wanted, how, submission, f"said_{token}"),
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
    leaves = bench_view.leaves_of(gauge, wanted)
    if leaves:
        _ask_leaf(log, story, wanted, how, submission, go_no_go.begin(leaves), token)
    first, second, third = st.columns(3)
    first.button("Skip for now", width="stretch", on_click=_skip, args=(wanted.place,))
    with second.popover("Not accessible", width="stretch", key=f"not_accessible_{token}"):
        why = st.text_input("Why?", key=f"why_{token}")
        st.button(
            "Store as not accessible",
            key=f"none_{token}",
            on_click=_store_text,
            args=(log, wanted.place, how, submission, f"not accessible: {why}" if why else "not accessible"),
        )
    with third.popover("Correct last", width="stretch", key=f"correct_{token}"):
        _correct(log, view, story, person, token)
    error = st.session_state.get("bench_error")
    drawn = f"{token} {how.gauge} {conditions} {st.session_state.get('bench_scan')} {id(error)}"
    put_cursor_in(FIELD, drawn, lambda text: bench.take_scan(log, text), refused=error is not None)
    show_sums(log, story, wanted)


def _say_done(log: Log, view: BenchView, story: Story, person: str) -> None:
    if story.missing:
        st.info("The rest was skipped: choose a place from the list.")
    else:
        st.success(
            "Everything the sheet wants is read. Next: parts and lots, then Check and sign off.",
            icon=":material/check:",
        )
    with st.popover("Correct last", key=f"correct_{len(story.readings)}"):
        _correct(log, view, story, person, "last")
    put_cursor_in("nothing", "done", lambda text: bench.take_scan(log, text))
    show_sums(log, story, None)


def _show_place(story: Story, wanted: Wanted) -> None:
    """Where the next reading is taken: in words, and on a clock face where the positions are hours."""
    c = wanted.characteristic
    on_clock = is_clock(c.positions)
    words, picture = st.columns([3, 1], vertical_alignment="center") if on_clock else (st.container(), None)
    with words:
        st.subheader(place_text(wanted.place, c))
        st.caption(plain(_what_is_asked(story, wanted)))
    if picture is not None:
        done = {w.place.position for w in story.wanted if w.done and _same_row(w.place, wanted.place)}
        with picture:
            show_clock(c.positions, wanted.place.position, done, None)


def _same_row(one: Place, two: Place) -> bool:
    return (one.characteristic, one.stage) == (two.characteristic, two.stage)


def _what_is_asked(story: Story, wanted: Wanted) -> str:
    c = wanted.characteristic
    limits = limits_text(story.limits_for(wanted))
    in_unit = f"limits {limits} {c.unit}" if limits else f"in {c.unit}"
    parts = [" or ".join(c.words) if c.in_words else in_unit]
    parts += ["15/16 for 15 goes, 16 does not"] if c.gauge_kind == "feeler" else []
    several = [" or ".join(g).replace("_", " ") for g in choices_of(c.conditions) if len(g) > 1]
    parts += [f"Say {', '.join(several)}: press it, or type it after the reading"] if several else []
    parts += [x for x in (c.view or story.sheet.view if c.positions else None, c.caution) if x]
    return ". ".join(p[0].upper() + p[1:] for p in parts)


def _ask_conditions(wanted: Wanted) -> tuple[str, ...]:
    chosen = []
    for choices in choices_of(wanted.characteristic.conditions):
        word = st.segmented_control(
            " or ".join(choices).replace("_", " "),
            choices,
            default=choices[0] if len(choices) == 1 else None,
            key=_condition_key(wanted.characteristic.code, choices),
            format_func=lambda word: word.replace("_", " "),
            label_visibility="collapsed",
        )
        if word:
            chosen.append(word)
    return tuple(chosen)


def _condition_key(code: str, choices: tuple[str, ...]) -> str:
    return f"condition_{code}_{'_'.join(choices)}"


def _ask_leaf(
    log: Log,
    story: Story,
    wanted: Wanted,
    how: Circumstances,
    submission: Submission,
    fresh: go_no_go.Ladder,
    token: str,
) -> None:
    """Leaf by leaf without typing: does this one go?"""
    ladder: go_no_go.Ladder = st.session_state.get(f"ladder_{token}", fresh)
    leaf = ladder.next_leaf(bench_view.likely(story, wanted))
    unit = wanted.characteristic.unit
    asked, goes, stops = st.columns([2, 2, 2], vertical_alignment="center")
    asked.markdown(f"Leaf **{float(leaf):.6g} {plain(unit)}**")
    for column, word, answer in ((goes, "Goes", True), (stops, "Does not go", False)):
        column.button(
            word,
            width="stretch",
            key=f"{word}_{token}",
            on_click=_try_leaf,
            args=(log, wanted.place, how, submission, ladder.tried(leaf, goes=answer), token),
        )


def _try_leaf(
    log: Log, place: Place, how: Circumstances, submission: Submission, ladder: go_no_go.Ladder, token: str
) -> None:
    st.session_state[f"ladder_{token}"] = ladder
    if ladder.found:
        st.session_state.pop(f"ladder_{token}")
        _store_text(log, place, how, submission, ladder.said)


def _store(log: Log, wanted: Wanted, how: Circumstances, submission: Submission, key: str) -> None:
    """Store what was typed; conditions said after the reading count, and are kept for the next place."""
    text = str(st.session_state.get(key, ""))
    if is_scan(text):
        st.session_state.pop("bench_token", None)
        bench.take_scan(log, text)
    elif text.strip().casefold().startswith(CORRECT):
        _correct_last(log, wanted.place.job, text.strip()[len(CORRECT) :], how, submission)
    elif text.strip():
        c = wanted.characteristic
        said, conditions = split_off(text, c.conditions)
        kept = list(how.conditions)
        for choices in choices_of(c.conditions):
            for word in set(conditions) & set(choices):
                kept = [k for k in kept if k not in choices] + [word]
                st.session_state[_condition_key(c.code, choices)] = word
        _store_text(log, wanted.place, replace(how, conditions=tuple(kept)), submission, said)


def _remember(taken: Taken) -> None:
    st.session_state["bench_last"] = taken
    has_taken(taken)


def _correct_last(log: Log, job: str, text: str, how: Circumstances, submission: Submission) -> None:
    """`correct 17` typed in the field: the last reading was mistyped, and is 17."""
    who_read = Circumstances(how.technician)
    try:
        _remember(capture.correct_last(log, job, text, REASONS[0], who_read, submission))
        st.session_state["bench_error"] = None
        st.session_state.pop("bench_token", None)
    except QclogError as error:
        st.session_state["bench_error"] = error


def _store_text(log: Log, place: Place, how: Circumstances, submission: Submission, text: str) -> None:
    """Store and go on. The submission was made when the form was drawn, so a double Enter stores once."""
    try:
        _remember(capture.take(log, place, text, how, submission))
        st.session_state["bench_error"] = None
        st.session_state["bench_scan"] = None
        st.session_state.pop("bench_place", None)
        st.session_state.pop("bench_token", None)
    except QclogError as error:
        st.session_state["bench_error"] = error


def _skip(place: Place) -> None:
    st.session_state.setdefault("bench_skipped", set()).add(place)
    st.session_state.pop("bench_place", None)
    st.session_state.pop("bench_token", None)


def _correct(log: Log, view: BenchView, story: Story, person: str, token: str) -> None:
    rows = [r.row for r in story.readings if not r.row.replaced and not r.row.struck_why]
    if not rows:
        st.write("Nothing was read here yet.")
        return
    last = max(rows, key=lambda row: (row.entry, str(row.id)))
    place = Place(last.job, last.characteristic, last.stage, last.position)
    where = place_text(place, story.sheet.characteristic(place.characteristic))
    st.write(plain(f"{where}: {reading_text(last)}. It stays in the log, with the reason."))
    st.caption("From the keyboard: `correct 17` in the reading field.")
    st.text_input("What it should be", key=f"fix_{token}")
    st.selectbox("Why (choose, or type another)", REASONS, accept_new_options=True, key=f"reason_{token}")
    gauges = [str(g.gauge) for g in view.around.gauges]
    at = gauges.index(last.gauge) if last.gauge in gauges else None
    st.selectbox("Read with", gauges, index=at, placeholder="not said", key=f"with_{token}_{last.id}")
    st.button(
        "Correct it",
        type="primary",
        key=f"do_fix_{token}",
        on_click=_store_correction,
        args=(log, place, last.attempt, person, token, f"with_{token}_{last.id}"),
    )


def _store_correction(log: Log, place: Place, attempt: int, person: str, token: str, gauge_key: str) -> None:
    text, reason = str(st.session_state[f"fix_{token}"]), str(st.session_state[f"reason_{token}"])
    how = Circumstances(person, st.session_state.get(gauge_key))
    _put_right(log, place, attempt, text, reason, how)


def _put_right(log: Log, place: Place, attempt: int, text: str, reason: str, how: Circumstances) -> None:
    submission = Submission(how.technician, "bench", f"correction in job {place.job}")
    try:
        _remember(capture.correct(log, place, attempt, text, reason, how, submission))
        st.session_state["bench_error"] = None
        st.session_state.pop("bench_token", None)
    except QclogError as error:
        st.session_state["bench_error"] = error


def _show_last(view: BenchView, job: str) -> None:
    """The last reading read back in words, with its verdict; or what was wrong with what was typed."""
    scanned = st.session_state.get("bench_scan")
    if scanned:
        st.info(plain(scanned), icon=":material/qr_code_scanner:")
    if st.session_state.get("bench_shown") != job:  # what was said of another job is no answer here
        st.session_state["bench_shown"] = job
        st.session_state["bench_last"] = st.session_state["bench_error"] = None
    error = st.session_state.get("bench_error")
    if error is not None:
        show_error(error)
        return
    last: Taken | None = st.session_state.get("bench_last")
    if last is None or view.last_of is None:
        if not scanned:
            st.caption("What you enter is read back here. Job cards, lots and gauges can be scanned at any time.")
        return
    c = view.last_of
    said = [last.read_back, verdict_text(last.verdict, c), view.last_standing]
    heard = {x.casefold(): x for x in said if x}  # a word such as pass is its own verdict
    text = plain("; ".join(heard.values()))
    where = plain(place_text(last.place, c))
    if last.verdict.out:
        limits = asked_text(c, last.verdict)
        told = f"{where}. Limits: {plain(limits)}" if limits else where
        st.error(f"**{text}**  \n{told}. Stored as read.", icon=":material/error:")
    elif last.verdict.result == "too close to call":
        st.warning(f"**{text}**  \n{where}", icon=":material/help:")
    else:
        st.success(f"**{text}**  \n{where}", icon=":material/check:")
    if last.doubt is not None:
        _show_doubt(last, last.doubt)


def _show_doubt(last: Taken, doubt: Doubt) -> None:
    st.warning(plain(doubt.question) + " It is stored as it was typed.", icon=":material/help:")
    with st.container(horizontal=True):
        for suggestion in doubt.suggestions[:3]:
            st.button(
                f"It was {plain(suggestion.text)}",
                key=f"meant_{suggestion.text}_{last.id}",
                on_click=_store_meant,
                args=(last, suggestion.text),
            )


def _store_meant(last: Taken, text: str) -> None:
    from qclog.web import reading

    person = st.session_state.get(who.NAME) or "bench"
    _put_right(reading.log(), last.place, last.attempt, text, "unit mistyped", Circumstances(person))
