"""How a page says things: errors in words, text from the log as it is."""

from __future__ import annotations

import streamlit as st

from qclog.errors import QclogError, show_found


def show_error(error: QclogError) -> None:
    """An error as a person would be told it."""
    found = f" Found: {plain(show_found(error.found))}." if error.found is not None else ""
    hint = f" {_sentence(error.hint)}" if error.hint else ""
    st.error(f"{_sentence(error.message)}{found}{hint}", icon=":material/error:")


def _sentence(text: str) -> str:
    return plain(text[0].upper() + text[1:]) + "."


_SPECIAL = str.maketrans({c: "\\" + c for c in "\\`*_{}[]()#+-.!|<>~$:"})


def plain(text: str) -> str:
    """Text from the log as it is, with nothing in it taken for Markdown."""
    return text.translate(_SPECIAL).replace("\n", " ")
