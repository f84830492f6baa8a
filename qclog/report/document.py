"""What a paper says, before it is set: blocks of plain text, tables and figures, written as HTML or PDF.

All text is plain: nothing in it is markup, whatever it holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

Align = Literal["left", "right", "decimal"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 begins a part, 2 a section in it."""

    text: str
    level: int = 1


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A sentence or several; `quiet` sets it small, for remarks."""

    text: str
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class Points:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that must not be overlooked, in a frame, with a word that says what it is."""

    word: str
    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Named facts beside each other; those without a value are left out."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. `decimal` lines numbers up at the point; `share` is of the width left by narrow columns
    (None: as narrow as its text).
    """

    heading: str
    align: Align = "left"
    share: float | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table; its heading row is repeated where it goes on over a page. `strong` rows are set heavier."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    strong: frozenset[int] = frozenset()
    roomy: bool = False

    def __post_init__(self) -> None:
        """Every row must have a cell for each column."""
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"a row of {len(row)} cells in a table of {len(self.columns)} columns")


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing of lines and letters (SVG text of our own making), its width in mm, and what it shows in words."""

    svg: str
    width: float
    says: str
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Code:
    """A code to scan, with the same in letters under it."""

    svg: str
    text: str
    says: str


@dataclass(frozen=True, slots=True)
class Labels:
    """Codes to cut out and stick on, each with its letters."""

    codes: tuple[Code, ...]


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines to write on by hand, each with what is to be written."""

    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins on a new page."""


Block: TypeAlias = Heading | Paragraph | Points | Notice | Facts | Table | Figure | Labels | Lines | NewPage


@dataclass(frozen=True, slots=True)
class Document:
    """A paper. `about` stands at the head of every page (a job number, a month), `moment` (UTC) dates the file and
    `dated` says the same in the workshop's time; `foot` stands under every page.
    """

    title: str
    about: str
    dated: str
    moment: datetime
    blocks: tuple[Block, ...]
    foot: str
    workshop: str = ""
    code: Code | None = None
    language: str = "en"


def split_at_point(cells: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Each cell with what must follow it, unseen, so that all points lie above each other when set to the right.

    Only cells that end in a number take part (`16`, `15.5`, `15/16`); words are set to the right as they are.
    """
    tails = [_tail(cell) for cell in cells]
    longest = max((len(tail) for tail in tails if tail is not None), default=0)
    return tuple(
        (cell, "" if tail is None or longest == 0 else ("." if not tail else "") + "0" * (longest - max(1, len(tail))))
        for cell, tail in zip(cells, tails, strict=True)
    )


def _tail(cell: str) -> str | None:
    """The point and decimals that a cell ends in, '' for a whole number; None if it does not end in a number."""
    if not cell or not cell[-1].isdigit():
        return None
    whole = cell.rstrip("0123456789")
    return cell[len(whole) - 1 :] if whole.endswith(".") else ""
