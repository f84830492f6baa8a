"""What went wrong with a form: said beside it until it is sent again.

A page may be drawn anew at any moment, by a reading that was stored or by a colleague's; words that stand for one
drawing only would be gone before they are read.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from qclog.errors import QclogError
from qclog.web.frame import show_error

_PROBLEMS = "problems_of_forms"


@contextmanager
def trying(form: str) -> Iterator[None]:
    """Around what a form does once it is sent: its last problem is forgotten, and a new one is kept."""
    kept = st.session_state.setdefault(_PROBLEMS, {})
    kept.pop(form, None)
    try:
        yield
    except QclogError as error:
        kept[form] = error


def show_problem(form: str) -> None:
    """Say what went wrong the last time the form was sent, if anything did."""
    error = st.session_state.get(_PROBLEMS, {}).get(form)
    if error is not None:
        show_error(error)


def forget_problems() -> None:
    """Another page is come to."""
    st.session_state.pop(_PROBLEMS, None)
