"""Figures and tables on a page: what is not known is left blank, and a row can be chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Literal

import polars as pl
import streamlit as st

from qclog.web.frame import plain

_MOST_ROWS = 14
_WIDEST = {True: 250, False: 200}  # of what was measured; of anything else
_NARROWEST_PAGE = 850


def show_figures_in_a_row(figures: Mapping[str, str]) -> None:
    """Named figures beside each other, as many in a line as there is room for."""
    with st.container(horizontal=True, gap="medium"):
        for name, figure in figures.items():
            st.metric(name, figure, width="content")


def show_facts_in_a_row(facts: Mapping[str, str]) -> None:
    """Named facts beside each other, as many in a line as there is room for; `facts` are plain text."""
    with st.container(horizontal=True, gap="medium"):
        for name, fact in facts.items():
            st.markdown(f":small[{plain(name)}]  \n**{plain(fact)}**", width="content")


def show_table(
    columns: Mapping[str, Sequence[object]], *, key: str | None = None, right: Sequence[str] = ()
) -> int | None:
    """Show named columns of equal length. With `key` a row can be chosen; its number is returned.

    `right` names columns of numbers that were written out, to be set to the right as numbers are.
    """
    rows = max((len(values) for values in columns.values()), default=0)
    frame = pl.DataFrame({name: _cells(values) for name, values in columns.items()})
    height: int | Literal["content"] = 38 + 35 * _MOST_ROWS if rows > _MOST_ROWS else "content"
    wide = {
        name: st.column_config.Column(width=width, alignment="right" if name in right else None)
        for name, width in _widths(frame).items()
    }
    if key is None:
        st.dataframe(frame, hide_index=True, height=height, column_config=wide)
        return None
    chosen: Any = st.dataframe(
        frame,
        hide_index=True,
        height=height,
        column_config=wide,
        on_select="rerun",
        selection_mode="single-row",
        key=key,
    )
    at = chosen.selection.rows if chosen else []
    return int(at[0]) if at else None


def without_blank(columns: Mapping[str, Sequence[object]], *names: str) -> dict[str, Sequence[object]]:
    """The columns, those of `names` only where something is in them."""
    return {name: cells for name, cells in columns.items() if name not in names or any(c for c in cells)}


def _widths(frame: pl.DataFrame) -> dict[str, int | None]:
    """Pixels for each column, so that nothing short is cut off; None where it may be as wide as there is room for.

    A browser measures a few rows in a smaller letter. Long texts must not push what was read off a narrow screen, so
    they are cut at `_WIDEST`; a press on one shows it whole.
    """
    widths = {name: min(_WIDEST[name == "what"], _width_of(name, frame[name])) for name in frame.columns}
    room = sum(widths.values()) < _NARROWEST_PAGE
    return {name: None if room and name == frame.columns[-1] else width for name, width in widths.items()}


def _width_of(name: str, cells: pl.Series) -> int:
    texts = [name, *(str(cell) for cell in cells if cell is not None)]
    return 28 + max(7 * len(text) + 3 * sum(c.isupper() for c in text) for text in texts)


def _cells(values: Sequence[object]) -> pl.Series:
    """Numbers stay numbers, set to the right; everything else is text."""
    if any(isinstance(v, int | float) for v in values) and all(v is None or isinstance(v, int | float) for v in values):
        return pl.Series(values)
    return pl.Series([_text(v) for v in values], dtype=pl.String)


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d}"
    return value.isoformat() if isinstance(value, date) else str(value)
