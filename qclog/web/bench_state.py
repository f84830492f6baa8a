"""What the bench of one browser knows beside its widgets; Streamlit keeps it as long as the page is open."""

from __future__ import annotations

from dataclasses import dataclass, field
from uuid import UUID

import streamlit as st

from qclog.bench.go_no_go import Ladder
from qclog.domain.places import Place
from qclog.errors import QclogError
from qclog.services.jobs.capture import Taken

JOB = "bench_job"  # the key of the widget that chooses it
_KEY = "bench_state"


@dataclass
class BenchState:
    """`last` is read back on the page unless there is an `error`; `scanned` says what the last code did.

    The numbers count what happened, so that a field drawn after it is a new one: a place `chosen` from the list, a
    store by other means than the reading field, a code scanned and one told of, a part added, a job opened.
    """

    last: Taken | None = None
    error: QclogError | None = None
    scanned: str | None = None
    job: str | None = None  # that these are of
    chosen: Place | None = None
    skipped: set[Place] = field(default_factory=set)
    lot: str | None = None  # scanned, to be added as a part
    ladders: dict[str, tuple[Ladder, UUID]] = field(default_factory=dict)  # begun leaf by leaf, by place
    choices: int = 0
    other_stores: int = 0
    scans: int = 0
    scans_told: int = 0
    parts_added: int = 0
    jobs_opened: int = 0

    def choose(self, place: Place) -> None:
        """A place was chosen from the list."""
        self.chosen = place
        self.choices += 1

    def answer_choice(self, number: int) -> None:
        """The choice of that number was answered by a reading."""
        if self.choices == number:
            self.chosen = None

    def leave(self, place: Place) -> None:
        """`place` was read or skipped: it is chosen no more."""
        if self.chosen == place:
            self.chosen = None

    def skip(self, place: Place) -> None:
        """Leave a place for later."""
        self.skipped.add(place)
        self.leave(place)


def current() -> BenchState:
    """That of this browser."""
    found: BenchState = st.session_state.setdefault(_KEY, BenchState())
    return found
