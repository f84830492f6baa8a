"""Figures and tables on a page: what is not known is left blank, and a row can be chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Literal

import polars as pl
import streamlit as st

from qclog.web.frame import plain

_MOST_ROWS = 14
_WIDEST = 250


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
    # Long names must not push what was read off a narrow screen; a press on one shows it whole.
    wide = {name: st.column_config.Column(width=_WIDEST) for name in frame.columns if name == "what"}
    wide |= {name: st.column_config.Column(alignment="right") for name in frame.columns if name in right}
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
