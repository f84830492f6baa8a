"""Cells that a spreadsheet would take for a formula, written so that it does not, and read back as they were.

A cell that begins with = + - @, a tab or a line end, and is not plainly a number with a unit, gets an apostrophe
before it, which spreadsheets take as the sign of text. One that begins with apostrophes and then one of those gets one
more, so that reading takes exactly one away again.
"""

from __future__ import annotations

import polars as pl

_LIKE_A_FORMULA = r"^'*[=+\-@\t\r]"
_NUMBER = r"^[+-]?[0-9][0-9.,]*([eE][+-]?[0-9]+)?( ?[\p{L}°·]+)*$"
_WRITTEN = r"^'+[=+\-@\t\r]"


def write_plain(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with every text that looks like a formula marked as text."""
    text = pl.col(pl.String)
    marked = text.str.contains(_LIKE_A_FORMULA) & ~text.str.contains(_NUMBER)
    return frame.with_columns(pl.when(marked).then("'" + text).otherwise(text).name.keep())


def read_plain(frame: pl.DataFrame, columns: tuple[str, ...]) -> pl.DataFrame:
    """The cells of `columns` as they were before `write_plain`."""
    text = pl.col(columns)
    return frame.with_columns(pl.when(text.str.contains(_WRITTEN)).then(text.str.slice(1)).otherwise(text).name.keep())
