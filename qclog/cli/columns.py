"""Plain columns for the terminal: numbers line up on the right, long text is not cut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def print_columns(headings: Sequence[str], rows: Iterable[Sequence[object]], *, right: Sequence[str] = ()) -> None:
    """Print rows under headings; the columns named in `right` are set to the right."""
    texts = [["" if cell is None else str(cell) for cell in row] for row in rows]
    widths = [max([len(h), *(len(row[i]) for row in texts)]) for i, h in enumerate(headings)]
    for row in [list(headings), *texts]:
        cells = [
            cell.rjust(width) if heading in right else cell.ljust(width)
            for cell, width, heading in zip(row, widths, headings, strict=True)
        ]
        print("  ".join(cells).rstrip())
