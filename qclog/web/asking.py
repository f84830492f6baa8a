"""The field for the next reading, what may be done beside it, and what became of the last one."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

import streamlit as st

from qclog.bench import go_no_go
from qclog.domain import stored
from qclog.domain.places import Place
from qclog.domain.speech.readings import Doubt
from qclog.errors import QclogError
from qclog.services.jobs import capture
from qclog.services.jobs.bench_entries import MISTYPED
from qclog.services.jobs.capture import Circumstances, Taken
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.overview import bench_view
from qclog.services.overview.bench_view import BenchView
from qclog.store.ids import new_id
from qclog.store.log import Log, Submission
from qclog.web import bench, bench_state, entries, who
from qclog.web.frame import plain, show_error
from qclog.web.reading_field import show_field
from qclog.web.sums import show_sums
from qclog.words.sentences import asked_text, place_text, reading_text, verdict_text

REASONS = (MISTYPED, "wrong position", "wrong gauge", "re-seated and read again")


def ask(log: Log, view: BenchView, story: Story, person: str, gauge: stored.Gauge | None) -> None:
    """The field for the next reading, what should be read there, and what became of the last one."""
    wanted = bench.next_place(story)
    told = st.container()  # one, whatever is in it: the field below it must not be drawn anew
    with told:
        said = _show_last(view, story)
    show_field(log, story, person, said)
    if wanted is None:
        _say_done(story)
    token = f"{len(story.readings)}_{bench_state.current().other_stores}"
    leaves = bench_view.leaves_of(gauge, wanted) if wanted is not None else ()
    if wanted is not None and leaves and gauge is not None:
        with st.container(key="leaf_by_leaf"):
            _ask_leaf(log, story, wanted, Circumstances(person, gauge.gauge), go_no_go.begin(leaves))
    with st.popover("Correct last", width="stretch", key=f"correct_{token}"):
        _correct(log, view, story, person, token)
    show_sums(log, story, wanted)


def _say_done(story: Story) -> None:
    if story.missing:
        st.info("The rest was skipped: choose a place from the list.")
    else:
        st.success(
            "Everything the sheet wants is read. Next: parts and lots, then Check and sign off.",
            icon=":material/check:",
        )


def _ask_leaf(log: Log, story: Story, wanted: Wanted, circumstances: Circumstances, fresh: go_no_go.Ladder) -> None:
    """Leaf by leaf without typing: does this one go?"""
    p = wanted.place
    token = f"{p.job}_{p.characteristic}_{p.stage}_{p.position}_{len(story.readings)}"
    ladder, submission = bench_state.current().ladders.setdefault(token, (fresh, new_id()))
    circumstances = Circumstances(
        circumstances.technician, circumstances.gauge, None, entries.answers().conditions.get(p.characteristic, ())
    )
    leaf = ladder.next_leaf(bench_view.likely(story, wanted))
    asked, goes, stops = st.columns([2, 2, 2], vertical_alignment="center")
    asked.markdown(f"Leaf **{float(leaf):.6g} {plain(wanted.characteristic.unit)}**")
    for column, word, answer in ((goes, "Goes", True), (stops, "Does not go", False)):
        column.button(
            word,
            width="stretch",
            key=f"{word}_{token}",
            on_click=_try_leaf,
            args=(log, p, circumstances, submission, ladder.tried(leaf, goes=answer), token),
        )


def _try_leaf(
    log: Log, place: Place, circumstances: Circumstances, ident: UUID, ladder: go_no_go.Ladder, token: str
) -> None:
    ladders = bench_state.current().ladders
    ladders[token] = (ladder, ident)
    if not ladder.found:
        return
    del ladders[token]
    submission = Submission(circumstances.technician, "bench", f"reading of job {place.job}", ident)
    _store(lambda: capture.take(log, place, ladder.said, circumstances, submission))


def _store(do: Callable[[], Taken]) -> None:
    """Store by other means than the field, and read it back."""
    state = bench_state.current()
    try:
        taken = do()
    except QclogError as error:
        state.error = error
        return
    bench.show_stored(taken)
    state.leave(taken.place)
    state.other_stores += 1


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
    circumstances = Circumstances(person, st.session_state.get(gauge_key))
    _put_right(log, place, attempt, text, reason, circumstances)


def _put_right(log: Log, place: Place, attempt: int, text: str, reason: str, circumstances: Circumstances) -> None:
    submission = Submission(circumstances.technician, "bench", f"correction in job {place.job}")
    _store(lambda: capture.correct(log, place, attempt, text, reason, circumstances, submission))


def _show_last(view: BenchView, story: Story) -> str:
    """The last reading read back in words, with its verdict, and what lately stood out; the words, for who listens."""
    job = str(story.job.job)
    state = bench_state.current()
    if state.job not in (None, job):  # what was said of another job is no answer here
        state.last = state.error = None
    state.job = job
    last = state.last
    counts = {str(r.row.id) for r in story.readings if r.row.counts}
    for taken in entries.answers().remarkable:
        if taken.place.job == job and str(taken.id) in counts and (last is None or taken.id != last.id):
            _show_taken(taken, "")
    if state.scanned:
        st.info(plain(state.scanned), icon=":material/qr_code_scanner:")
    if state.error is not None:
        show_error(state.error)
        return ""
    if last is None or view.last_of is None:
        if not state.scanned:
            st.caption("What you enter is read back here. Job cards, lots and gauges can be scanned at any time.")
        return state.scanned or ""
    return f"{place_text(last.place, last.characteristic)}: {_show_taken(last, view.last_standing)}"


def _show_taken(taken: Taken, standing: str) -> str:
    c = taken.characteristic
    said = [taken.read_back, verdict_text(taken.verdict, c), standing]
    words = "; ".join({x.casefold(): x for x in said if x}.values())  # a word such as pass is its own verdict
    where = plain(place_text(taken.place, c))
    if taken.verdict.out:
        limits = asked_text(c, taken.verdict)
        told = f"{where}. Limits: {plain(limits)}" if limits else where
        st.error(f"**{plain(words)}**  \n{told}. Stored as read.", icon=":material/error:")
    elif taken.verdict.result == "too close to call":
        st.warning(f"**{plain(words)}**  \n{where}", icon=":material/help:")
    else:
        st.success(f"**{plain(words)}**  \n{where}", icon=":material/check:")
    if taken.doubt is not None:
        _show_doubt(taken, taken.doubt)
    return words


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
