"""The record as it stood: one choice for every page that shows, said on each, and no page can then be written on."""

from __future__ import annotations

import streamlit as st

from qclog.services.keeping import earlier
from qclog.store.log import Log
from qclog.web import reading
from qclog.web.frame import plain

ASKED = "as_of"


def offer() -> None:
    """The small button in the corner, by which a page is asked as of a day or an entry; the address may ask it too."""
    asked = st.query_params.get(ASKED)
    if asked is not None and ASKED not in st.session_state:
        st.session_state[ASKED] = asked
    chosen = _asked()
    with st.popover(f"As of {plain(chosen)}" if chosen else "As of now", icon=":material/history:"):
        st.text_input(
            "Show the record as it stood (a day such as 2026-03-14, or an entry's number)",
            key=ASKED,
            placeholder="now",
        )
        st.caption(
            "What was entered later is left out on every page until this is blank again. The bench is always now."
        )
    if chosen:
        st.query_params[ASKED] = chosen
    else:
        st.query_params.pop(ASKED, None)


def log_then() -> Log:
    """The log that a page shows: now, or as it stood when the corner asks for; the page says so."""
    asked = _asked()
    if not asked:
        return reading.log()
    st.button("Back to now", on_click=_come_back, icon=":material/update:", key="back_to_now")
    then = earlier.as_of(reading.log(), asked)
    st.info(f"{plain(earlier.as_of_words(then))} Nothing can be entered while looking back.", icon=":material/history:")
    return then


def _asked() -> str:
    return str(st.session_state.get(ASKED) or "").strip()


def _come_back() -> None:
    st.session_state[ASKED] = ""
