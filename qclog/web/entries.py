"""What the page's reading field sends: taken in order at the start of every run of a page, and answered by id."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import streamlit as st

from qclog.domain.places import Place
from qclog.domain.speech.scans import read_scan
from qclog.errors import InputError, LogError, QclogError, ReadMeanwhileError, show_found
from qclog.services.jobs import jobs
from qclog.services.jobs.bench_entries import Entry, Kept, is_correction, take_entry
from qclog.services.jobs.capture import Taken
from qclog.store.log import Log
from qclog.web import bench, bench_state, reading, who

KEY = "qclog_field"
INVESTIGATION = "investigation"  # there, a code that is scanned is what is under suspicion
_SECONDS_A_ROUND = 0.7  # then the page is drawn, so that whoever types sees what was stored


@dataclass
class Answers:
    """What this browser's page was answered. `round`: the number of the sending that was taken last."""

    round: int = 0
    stored: set[str] = field(default_factory=set)
    refused: dict[str, dict[str, Any]] = field(default_factory=dict)
    waiting: str = ""
    remarkable: list[Taken] = field(default_factory=list)
    conditions: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def has(self, name: str) -> bool:
        """Whether an entry of that id was answered."""
        return name in self.stored or name in self.refused


@dataclass(frozen=True)
class Leads:
    """The page that a scanned code leads to, by its address, and what it is opened with."""

    page: str
    query: dict[str, str]


def now_ms() -> int:
    """Now, in ms since 1970: what the page compares its own clock with."""
    return time.time_ns() // 1_000_000


def answers() -> Answers:
    """Those of this session."""
    found: Answers = st.session_state.setdefault("bench_answers", Answers())
    return found


def sent() -> Mapping[str, Any] | None:
    """What the page sent last: `round`, a number that rises, and `entries`, all that it has no answer to."""
    state = st.session_state.get(KEY)
    queue = state.get("queue") if isinstance(state, Mapping) else None
    return queue if isinstance(queue, Mapping) else None


def take_in(log: Log) -> Leads | None:
    """Take what was sent and not yet taken, in order; where a scan among it leads, if to a page.

    Nothing here draws, and each answer is noted before the next entry is begun: Streamlit may end a run at any use of
    the session.
    """
    queue, given = sent(), answers()
    turn = queue.get("round") if queue is not None else None
    if queue is None or not isinstance(turn, int) or turn <= given.round:
        return None
    entries = [e for e in queue.get("entries", []) if isinstance(e, Mapping) and "id" in e]
    names = {str(e["id"]) for e in entries}
    given.stored &= names
    given.refused = {name: told for name, told in given.refused.items() if name in names}
    given.waiting = ""
    worker = who.among(reading.around(log).workers)
    person = worker.person if worker is not None else None
    end, leads = time.monotonic() + _SECONDS_A_ROUND, None
    left = [e for e in entries if not given.has(str(e["id"]))]
    try:
        with log.kept_open():
            for entry in left:
                leads = _take(log, entry, person, given) or leads
                if time.monotonic() > end:
                    break
    except LogError as error:
        given.waiting = f"{error.message}. {error.hint or ''}".strip()
    given.round = turn
    return leads


def _take(log: Log, entry: Mapping[str, Any], person: str | None, given: Answers) -> Leads | None:
    """Take one entry and note its answer; what leads to another page."""
    name, kind = str(entry["id"]), entry.get("kind")
    if kind == "scan":
        return _obey(log, entry, given)
    if person is None or entry.get("person") != person:
        return None  # it waits in the page until whoever typed it is back
    place = None
    try:
        if kind == "skip":
            bench_state.current().skip(_place(entry))
            given.stored.add(name)
        else:
            read = _read(log, entry, person, given)
            place = read.place
            _note(take_entry(log, read), entry, given)
    except LogError:
        raise
    except QclogError as error:
        _refuse(given, entry, error, place)
    return None


def _obey(log: Log, entry: Mapping[str, Any], given: Answers) -> Leads | None:
    text = str(entry.get("text", ""))
    if entry.get("on") == INVESTIGATION:
        given.stored.add(str(entry["id"]))
        return Leads(INVESTIGATION, {"trace": text})
    if bench.take_scan(log, text):
        given.stored.add(str(entry["id"]))
        scan = read_scan(text)
        return Leads("bench", {"job": scan.name}) if scan is not None and scan.kind == "job" else None
    given.refused[str(entry["id"])] = {"message": "the code was not understood"}
    return None


def _read(log: Log, entry: Mapping[str, Any], person: str, given: Answers) -> Entry:
    """An entry as the services take it. InputError for one that no page of ours sends, or typed after a bad scan."""
    after = entry.get("after")
    if after is not None and str(after) in given.refused:
        raise InputError(
            "it was typed after a code that was not understood", field="reading", hint="scan again, or press Enter"
        )
    whole = _whole(entry, person)
    if is_correction(whole.text):
        return whole
    if entry.get("place") is None:
        place, kind = _first_free(log, given)
        conditions = given.conditions.get(place.characteristic, ())
        return replace(whole, place=place, gauge=_gauge_for(kind), conditions=conditions, seen=None)
    if after is not None:
        return replace(whole, place=_place(entry), gauge=_gauge_for(entry.get("gauge_kind") or None))
    return replace(whole, place=_place(entry))


def _whole(entry: Mapping[str, Any], person: str) -> Entry:
    text, before, seen, gauge = entry.get("text"), entry.get("before"), entry.get("seen"), entry.get("gauge")
    try:
        if not isinstance(text, str):
            raise TypeError
        return Entry(
            id=UUID(str(entry["id"])),
            text=text,
            place=Place(str(entry.get("job")), "", ""),
            person=person,
            typed_at=datetime.fromtimestamp(float(entry["at"]) / 1000, UTC).replace(tzinfo=None),
            gauge=None if gauge is None else str(gauge),
            conditions=tuple(str(c) for c in entry.get("conditions") or ()),
            seen=None if seen is None else int(seen),
            before=None if before is None else UUID(str(before)),
        )
    except (KeyError, TypeError, ValueError, OverflowError, OSError) as error:
        raise InputError("this did not come whole from the page", field="reading", hint="type it again") from error


def _gauge_for(kind: str | None) -> str | None:
    """The gauge that is chosen for places of a kind."""
    gauge = st.session_state.get(f"gauge_{kind}")
    return None if gauge is None else str(gauge)


def _place(entry: Mapping[str, Any]) -> Place:
    place = entry.get("place")
    if not isinstance(place, list | tuple) or len(place) != 4:
        raise InputError("this did not come whole from the page", field="place", hint="type it again")
    return Place(*(str(part) for part in place))


def _first_free(log: Log, given: Answers) -> tuple[Place, str | None]:
    """The place that comes next in the job that was scanned just before, and the kind of gauge that it takes."""
    job = str(st.session_state.get(bench_state.JOB))
    story = jobs.tell(log, job)
    taken = {tuple(told["place"]) for told in given.refused.values() if told.get("place")}
    for wanted in bench.upcoming(story):
        p = wanted.place
        if (p.job, p.characteristic, p.stage, p.position) not in taken:
            return p, wanted.characteristic.gauge_kind
    raise InputError(
        "no place of this job wants a reading", field="reading", hint="choose a place from the list and type it there"
    )


def _note(kept: Kept, entry: Mapping[str, Any], given: Answers) -> None:
    taken = kept.taken
    given.stored.add(str(entry["id"]))  # before the session is used
    if not is_correction(str(entry.get("text"))):
        given.conditions[taken.place.characteristic] = kept.conditions
    if taken.verdict.out or taken.doubt is not None:
        given.remarkable = [*given.remarkable, taken][-4:]
    bench.show_stored(taken)
    if isinstance(entry.get("chosen"), int):
        bench_state.current().answer_choice(entry["chosen"])


def _refuse(given: Answers, entry: Mapping[str, Any], error: QclogError, place: Place | None = None) -> None:
    found = f" (found: {show_found(error.found)})" if error.found is not None else ""
    hint = f" {error.hint[0].upper()}{error.hint[1:]}." if error.hint else ""
    where = None if place is None or not place.characteristic else place
    given.refused[str(entry["id"])] = {
        "message": f"{error.message[0].upper()}{error.message[1:]}{found}.{hint}",
        "place": entry.get("place") or (where and [where.job, where.characteristic, where.stage, where.position]),
        "seen": error.attempts if isinstance(error, ReadMeanwhileError) else None,
    }
