"""A reading as it was said: a point, a bracket between two leaves, an open end, a reason, or a word."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from qclog.domain.quantities.units import convert, in_words, parse_unit, write
from qclog.domain.quantities.writing import exact_decimals, write_exactly

Kind = Literal["point", "bracket", "below", "above", "none", "word"]


@dataclass(frozen=True, slots=True)
class Said:
    """What was said at the bench and what it was understood to be.

    `text` is kept as typed. `low` and `high` are in `unit`, the unit as said. By kind:

    - `point`: low == high.
    - `bracket`: a leaf of `low` goes, one of `high` does not.
    - `below`: no leaf enters; `high` is the smallest leaf if known, `low` is None.
    - `above`: the largest leaf, `low`, goes and there is no larger; `high` is None.
    - `none`: none was taken; `reason` says why.
    - `word`: `word` is pass, fail or one of the categories asked for.
    """

    text: str
    kind: Kind
    low: Fraction | None
    high: Fraction | None
    unit: str
    reason: str | None = None
    word: str | None = None

    @property
    def middle(self) -> Fraction | None:
        """The point, or the middle of the bracket; None if the value isn't closed on both sides."""
        if self.low is None or self.high is None:
            return None
        return self.low if self.kind == "point" else (self.low + self.high) / 2

    @property
    def width(self) -> Fraction | None:
        """0 for a point, the gap between the leaves for a bracket, else None."""
        return None if self.low is None or self.high is None else self.high - self.low


def convert_said(said: Said, unit: str) -> Said:
    """`said` in `unit`, exactly; the text stays as typed.

    Raises
    ------
    UnitError : the dimensions differ.
    """
    target = parse_unit(unit)
    if said.unit == target:
        return said
    if said.kind in ("none", "word"):
        return replace(said, unit=target)
    low, high = (None if end is None else convert(end, said.unit, target) for end in (said.low, said.high))
    return replace(said, low=low, high=high, unit=target)


def read_back(said: Said) -> str:
    """`said` in words, to be read aloud: "fifteen goes, sixteen does not", "not accessible: pump in the way".

    A bracket in thou leaves the unit out, as the trade does; in any other unit it is named.
    """
    low, high = said.low, said.high
    if said.kind == "point" and low is not None:
        return in_words(low, said.unit, as_fraction=_said_as_fraction(said))
    if said.kind == "bracket" and low is not None and high is not None:
        if said.unit == "thou":
            return f"{_bare_words(low)} goes, {_bare_words(high)} does not"
        return f"{in_words(low, said.unit)} goes, {in_words(high, said.unit)} does not"
    if said.kind == "above" and low is not None:
        return f"{in_words(low, said.unit)} goes, no larger leaf"
    if said.kind == "below":
        return "no leaf enters" + ("" if high is None else f", not even {in_words(high, said.unit)}")
    return said.word or said.reason or said.text


def _said_as_fraction(said: Said) -> bool:
    return said.unit == "in" and any(sign in said.text for sign in "/⁄½¼¾⅛⅜⅝⅞")


def _bare_words(value: Fraction) -> str:
    return "half a thou" if value == Fraction(1, 2) else in_words(value, "thou").removesuffix(" thou")


def canonical(said: Said) -> str:
    """A text that `read` understands as the same: "16 thou", "15/16 thou", "no leaf enters (<1.5 thou)"."""
    low, high, unit = said.low, said.high, said.unit
    if said.kind == "point" and low is not None:
        return _exact(low, unit)
    if said.kind == "bracket" and low is not None and high is not None:
        if unit != "in" and None not in (exact_decimals(low), exact_decimals(high)):
            return f"{write_exactly(low)}/{_exact(high, unit)}"
        return f"{_exact(low, unit)} goes {_exact(high, unit)} no"
    if said.kind == "above" and low is not None:
        return f"{_exact(low, unit)} goes, no larger leaf"
    if said.kind == "below":
        return "no leaf enters" + ("" if high is None else f" (<{_exact(high, unit)})")
    return said.word or said.reason or said.text


def _exact(value: Fraction, unit: str) -> str:
    if unit == "count":
        return f"{write_exactly(value)} count"
    number = write_exactly(value)
    return write(Fraction(0), unit).replace("0", number, 1)
