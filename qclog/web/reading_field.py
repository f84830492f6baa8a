"""The reading field: an input of our own that keeps every key, with a queue in the page that the server answers by id.

Streamlit's fields lose what is typed while a page is drawn again. This one is a component whose queue lives in the
page; `web/entries.py` takes what it sends.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import streamlit as st

from qclog.domain.places import Place
from qclog.domain.sheets.conditions import asked_of
from qclog.services.jobs.jobs import Story, Wanted
from qclog.store.log import Log
from qclog.web import bench, bench_state, entries, reading, who
from qclog.web.clock import angles_of, draw_face, is_clock
from qclog.web.wanting import what_is_asked
from qclog.words.sentences import place_text

_FOLDER = Path(__file__).with_name("field")
_STATE = "bench_field_state"


def _text_of(*names: str) -> str:
    return "\n".join((_FOLDER / name).read_text(encoding="utf-8") for name in names)


_field = st.components.v2.component(
    "qclog_field",
    html='<div class="qclog-field" hidden></div>',
    css=_text_of("field.css"),
    js=_text_of("queue.js", "keys.js", "view.js"),
    isolate_styles=False,  # a label and the cursor are to be found by whatever reads the page aloud
)


@dataclass
class FieldState:
    """Which page the field is on, and whether it is drawn in the run that goes on."""

    page: str | None = None
    shown: bool = False


def _state() -> FieldState:
    found: FieldState = st.session_state.setdefault(_STATE, FieldState())
    return found


def begin_run(page: str) -> bool:
    """At the start of a page's run: the field is not drawn yet, and a code that is scanned is for that page.

    Whether it is another page than the last.
    """
    before = _state()
    st.session_state[_STATE] = FieldState(page)
    return before.page != page


def show_field(log: Log, story: Story, person: str, said: str) -> None:
    """Draw the field for what is wanted next; `said` is what became of the last reading, for who can't see it."""
    wanted = bench.next_place(story)
    chosen = bench.chosen_place(story)
    seen = _attempts(story)
    faces = {_face_of(w): _drawn_face(story, w) for w in story.wanted if is_clock(w.characteristic.positions)}
    data = _common(log, str(story.job.job), person)
    data |= {
        "places": [_item(story, w, seen) for w in bench.upcoming(story)],
        "chosen": chosen and {"turn": chosen[1], "item": _item(story, chosen[0], seen)},
        "here": _key(wanted.place) if wanted is not None else None,
        "faces": faces,
        "said": said,
    }
    _mount(data)


def listen(log: Log) -> None:
    """On a page, or part of one, without the field: codes are still taken, and answers arrive."""
    if _state().shown:
        return
    worker = who.among(reading.around(log).workers) if log.exists() else None
    _mount(_common(log, st.session_state.get(bench_state.JOB), worker.person if worker is not None else None))


def _mount(data: dict[str, Any]) -> None:
    _state().shown = True
    _field(data=data, key=entries.KEY, on_queue_change=lambda: None)


def _common(log: Log, job: str | None, person: str | None) -> dict[str, Any]:
    given = entries.answers()
    known = {g.gauge for g in reading.around(log).gauges} if log.exists() else set()
    gauges = {
        str(key).removeprefix("gauge_").replace("None", ""): value
        for key, value in st.session_state.items()
        if str(key).startswith("gauge_") and value in known
    }
    state = bench_state.current()
    turns = [state.choices, state.other_stores, state.scans]
    return {
        "log": sha256(str(log.path.absolute()).encode()).hexdigest()[:12],
        "page": _state().page,
        "job": job,
        "person": person,
        "now": entries.now_ms(),
        "round": given.round,
        "stored": sorted(given.stored),
        "refused": [{"id": name} | told for name, told in given.refused.items()],
        "waiting": given.waiting,
        "conditions": given.conditions,
        "gauges": gauges,
        "other": state.other_stores,
        "focus": f"{job} {person} {sorted(gauges.items())} {turns}",
        "places": None,
        "chosen": None,
        "here": None,
        "faces": {},
        "said": "",
    }


def _item(story: Story, wanted: Wanted, seen: dict[tuple[str, str, str], int]) -> dict[str, Any]:
    """A place as the page knows it."""
    c, p = wanted.characteristic, wanted.place
    return {
        "place": _key(p),
        "words": place_text(p, c),
        "asked": what_is_asked(story, wanted),
        "groups": asked_of(c.conditions, c.states),
        "answers": c.words if c.in_words else (),
        "gauge_kind": c.gauge_kind or "",
        "seen": seen.get((p.characteristic, p.stage, p.position), 0),
        "face": _face_of(wanted) if is_clock(c.positions) else None,
        "angles": angles_of(p.position, c.positions),
    }


def _key(place: Place) -> list[str]:
    return [place.job, place.characteristic, place.stage, place.position]


def _attempts(story: Story) -> dict[tuple[str, str, str], int]:
    """How many attempts each place of the job has."""
    found: dict[tuple[str, str, str], int] = {}
    for r in story.readings:
        place = (str(r.row.characteristic), str(r.row.stage), str(r.row.position))
        found[place] = found.get(place, 0) + 1
    return found


def _face_of(wanted: Wanted) -> str:
    return f"{wanted.place.characteristic} {wanted.place.stage}"


def _drawn_face(story: Story, wanted: Wanted) -> str:
    done = {w.place.position for w in story.wanted if w.done and _face_of(w) == _face_of(wanted)}
    return draw_face(wanted.characteristic.positions, done)
