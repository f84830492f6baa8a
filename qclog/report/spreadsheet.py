"""Tables for spreadsheets: CSV in which no cell is taken for a formula."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import polars as pl

from qclog.exchange.plain_cells import write_plain


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The rows under their headings as CSV that spreadsheets of any language open rightly (UTF-8 with its mark).

    Text that a spreadsheet would take for a formula gets an apostrophe before it; numbers stay numbers.
    """
    texts = [tuple(None if cell is None else str(cell) for cell in row) for row in rows]
    frame = pl.DataFrame(texts, schema=dict.fromkeys(headings, pl.String), orient="row")
    made: str = write_plain(frame).write_csv(line_terminator="\r\n", include_bom=True)
    return made
