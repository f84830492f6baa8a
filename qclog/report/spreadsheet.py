"""Tables for spreadsheets: CSV in which no cell is taken for a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The rows under their headings as CSV that spreadsheets of any language open rightly (UTF-8 with its mark).

    Text that a spreadsheet would take for a formula gets an apostrophe before it; numbers stay numbers.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([harmless(h) for h in headings])
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return "\ufeff" + out.getvalue()


def harmless(cell: object) -> object:
    """A cell that no spreadsheet works out; None becomes an empty one."""
    if cell is None:
        return ""
    if isinstance(cell, int | float):
        return cell
    text = str(cell)
    if _NUMBER.fullmatch(text):
        return text
    return f"'{text}" if text.lstrip(" \n").startswith(_STARTS_A_FORMULA) else text
