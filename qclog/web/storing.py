"""What a page stored is said to be stored until a page has shown it whole: so nobody types it again.

Between the store and the look that shows it, the log may be taken by another program, or be gone.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from qclog.services.jobs.capture import Taken
from qclog.store.log import Submission
from qclog.web.frame import plain
from qclog.words.sentences import place_text

_NOT_SHOWN = "stored_not_shown"


@contextmanager
def storing(submission: Submission) -> Iterator[Submission]:
    """Around a store: what was stored is remembered once it is."""
    yield submission
    st.session_state[_NOT_SHOWN] = submission.what


def has_taken(taken: Taken) -> None:
    """A reading is stored: it is remembered as it was read back."""
    st.session_state[_NOT_SHOWN] = f"{place_text(taken.place, taken.characteristic)}: {taken.read_back}"


def has_shown() -> None:
    """A page was shown whole, and on it what was stored."""
    st.session_state.pop(_NOT_SHOWN, None)


def say_stored() -> None:
    """Say what was stored and has not been shown since."""
    said: str | None = st.session_state.get(_NOT_SHOWN)
    if said is not None:
        st.success(f"Stored: {plain(said)}", icon=":material/check:")
