"""What is round every page: who is there, errors said in words, and the standing caution."""

from __future__ import annotations

from typing import Any

import streamlit as st

from qclog.errors import LogBusyError, QclogError
from qclog.notices import told_to
from qclog.web import bench, bench_state, entries, looking_back, reading, reading_field, who
from qclog.web.frame import plain, show_error
from qclog.web.problems import forget_problems
from qclog.web.storing import has_shown, say_stored

CAUTION = (
    "Limits are the workshop's own. The maker's manual and competent, authorised people decide; "
    "qclog certifies nothing. A worked-out shim or setting is a suggestion that a trial fit decides."
)


_SPACING = """<style>
[data-testid="stMainBlockContainer"] { padding-top: 4.2rem; padding-bottom: 2rem; }
[data-testid="stForm"] input { font-variant-numeric: tabular-nums; }
.st-key-leaf_by_leaf:has([inert]), .st-key-leaf_by_leaf[inert] { opacity: 0.4; }
[data-testid="stCaptionContainer"] { opacity: 1; color: inherit; }
[data-testid="stCaptionContainer"] p { color: inherit; opacity: 0.85; }
.st-key-who_corner { margin-bottom: -3.9rem; z-index: 1; }
@media (max-width: 700px) { .st-key-who_corner { margin-bottom: 0; } }
[data-testid="InputInstructions"] { display: none; }
[data-testid="stMain"] button { min-height: 2.9rem; }
[data-testid="stMain"] button[data-variant="segmented_control"][data-selected="true"] { color: inherit !important; }
[data-testid="stWidgetLabel"] button { min-height: 0; }
</style>"""


_KEPT = (who.NAME, bench_state.JOB, "gauge_", looking_back.ASKED)


def draw_frame(page: Any) -> None:
    """Run the chosen page; what goes wrong is said, and nothing that was stored is lost."""
    for key in [str(k) for k in st.session_state]:
        if key.startswith(_KEPT):  # Streamlit forgets a field that isn't on the page, unless it is set again
            st.session_state[key] = st.session_state[key]
    st.html(_SPACING)
    if reading_field.begin_run(page.url_path):
        forget_problems()
    try:
        _run(page)
    except LogBusyError as error:
        say_stored()
        st.warning(f"{error.message}. {error.hint or ''}")
        st.button("Try again")
    except QclogError as error:
        say_stored()
        show_error(error)
    st.divider()
    st.caption(CAUTION)


def _run(page: Any) -> None:
    with told_to(_tell):
        log = reading.log()
        if who.must_sign_on() and who.here(log) is None:
            who.ask_first(log)
            return
        leads = entries.take_in(log)
        if leads is not None and leads.page != page.url_path:
            st.switch_page(f"app_pages/{leads.page}.py", query_params=leads.query)
        if leads is not None:
            st.query_params.update(leads.query)
        if page.url_path != "bench":
            with st.container(horizontal=True, horizontal_alignment="right", key="who_corner"):
                looking_back.offer()
                who.show_in_corner(log)
            bench.tell_scan()
            reading_field.listen(log)  # before what takes long to draw: a code is scanned as soon as there is a page
        page.run()
        reading_field.listen(log)
        has_shown()


def _tell(sentence: str) -> None:
    st.toast(plain(sentence), icon=":material/hourglass_top:", duration="long")
