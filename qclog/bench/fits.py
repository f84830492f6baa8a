"""Fits of a bore on a shaft or ring: loose L above nothing, tight T below, as manuals print them; and ISO 286."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import sqrt

from qclog.bench.answer import Answer, say
from qclog.bench.estimate import Estimate, combine
from qclog.bench.gate import check_fields, checked
from qclog.errors import InputError


@dataclass(frozen=True, slots=True)
class Range:
    """The least and the most of a dimension or fit, one unit. A fit: loose above 0, tight below."""

    least: float
    most: float

    def __post_init__(self) -> None:
        check_fields(self)
        if self.least > self.most:
            raise InputError("the least is more than the most", field="range", found=f"{self.least:g} to {self.most:g}")


@checked
def fit_of(
    bore: Estimate, shaft: Estimate, *, lower: float | None = None, upper: float | None = None, unit: str
) -> Answer:
    """The fit of a bore on a shaft: bore less shaft; lower and upper as fits (tight negative)."""
    result = combine((1, bore), (-1, shaft))
    text = f"{say(bore.value, unit)} bore - {say(shaft.value, unit)} = {write_fit(result.value, unit)}"
    return Answer("fit", result.value, result.u, unit, text, lower, upper, ())


@checked
def fit_range(bore: Range, shaft: Range) -> Range:
    """From the tightest (least bore, most shaft) to the loosest (most bore, least shaft)."""
    return Range(bore.least - shaft.most, bore.most - shaft.least)


@checked
def chance_of_fit(bore: Range, shaft: Range, lower: float | None, upper: float | None) -> float:
    """The chance of a fit inside limits for parts anywhere in their ranges (uniform, independent, taken as normal)."""
    u = sqrt((bore.most - bore.least) ** 2 / 12 + (shaft.most - shaft.least) ** 2 / 12)
    middle = (bore.least + bore.most - shaft.least - shaft.most) / 2
    return Answer("fit", middle, u, "", "", lower, upper).chance_inside or 0.0


@checked
def write_fit(value: float, unit: str = "in") -> str:
    """A fit with its letter: 0.0007T, 0.0008L, 0 for line to line."""
    number = say(abs(value), unit)
    return number if number == "0" else number + ("L" if value > 0 else "T")


_END = re.compile(r"(\d*\.?\d+)\s*([LT]?)", re.IGNORECASE)


@checked
def read_fit(text: str) -> Range:
    """A printed fit as a range: `0.0007T-0.0008L`, `0.0005-0.0015L`, `0.0015L` (both ends the same).

    A first number without a letter takes the second's. InputError for what is no fit.
    """
    parts = [p for p in re.split(r"\s*(?:-|–|to)\s*", text.strip()) if p]
    found = [_END.fullmatch(p) for p in parts]
    if not 1 <= len(found) <= 2 or any(m is None for m in found):
        raise InputError(
            "this is no fit", field="fit", found=text, hint="write 0.0007T-0.0008L: T is tight, L is loose"
        )
    ends = [(float(m[1]), m[2].upper()) for m in found if m is not None]
    last = ends[-1][1]
    values = [-value if (letter or last) == "T" else value for value, letter in ends]
    if any(value and not (letter or last) for value, letter in ends):
        raise InputError("a fit says L or T", field="fit", found=text, hint="T is tight, L is loose")
    return Range(min(values), max(values))


# ISO 286-1/-2 for nominal sizes over 30 up to 120 mm, in µm: standard tolerances, and fundamental deviations as
# JIS B 0401 and public bar tables repeat them (k, m, h, H); n and the hole corrections from memory of ISO 286-1.
_BANDS = ((30.0, 50.0), (50.0, 80.0), (80.0, 120.0))
_GRADES = {5: (11, 13, 15), 6: (16, 19, 22), 7: (25, 30, 35)}
_LOWER_OF_SHAFT = {"k": (2, 2, 3), "m": (9, 11, 13), "n": (17, 20, 23)}
_UPPER_OF_J_HOLE = (14, 18, 22)
NORMAL_BEARING_OUTSIDE = {(30.0, 50.0): -11, (50.0, 80.0): -13, (80.0, 120.0): -15}
NORMAL_BEARING_BORE = {(30.0, 50.0): -12, (50.0, 80.0): -15, (80.0, 120.0): -20}
"""Lower deviations of a Normal-class bearing's outside and bore, µm, upper 0 (ISO 492, from memory)."""


@checked
def tolerance_of(nominal: float, letter_and_grade: str) -> Range:
    """Deviations from nominal, mm, of an ISO 286 class: holes H7 J7 K7 N7, shafts h6 k5 k6 m5 m6.

    Nominal sizes over 30 up to 120 mm. InputError for others.
    """
    band = _band_of(nominal)
    match = re.fullmatch(r"([A-Za-z])(\d)", letter_and_grade)
    known = match is not None and int(match[2]) in _GRADES
    if match is None or not known:
        raise _no_class(letter_and_grade)
    letter, grade = match[1], int(match[2])
    width = _GRADES[grade][band]
    if letter in "hH":
        low = 0 if letter == "H" else -width
    elif letter in ("k", "m"):
        low = _LOWER_OF_SHAFT[letter][band]
    elif letter in ("K", "N") and grade == 7:
        low = -_LOWER_OF_SHAFT[letter.lower()][band] + width - _GRADES[6][band] - width
    elif letter == "J" and grade == 7:
        low = _UPPER_OF_J_HOLE[band] - width
    else:
        raise _no_class(letter_and_grade)
    return Range(low / 1000, (low + width) / 1000)


@checked
def iso_fit(nominal: float, hole: str | Range, shaft: str | Range) -> Range:
    """The fit of two ISO 286 classes, or of a class with a part's own deviations, mm."""
    one, two = (tolerance_of(nominal, c) if isinstance(c, str) else c for c in (hole, shaft))
    return fit_range(one, two)


@checked
def bearing_outside(nominal: float) -> Range:
    """Deviations of a Normal-class bearing's outside diameter, mm."""
    return Range(NORMAL_BEARING_OUTSIDE[_BANDS[_band_of(nominal)]] / 1000, 0.0)


@checked
def bearing_bore(nominal: float) -> Range:
    """Deviations of a Normal-class bearing's bore, mm."""
    return Range(NORMAL_BEARING_BORE[_BANDS[_band_of(nominal)]] / 1000, 0.0)


def _band_of(nominal: float) -> int:
    for i, (over, up_to) in enumerate(_BANDS):
        if over < nominal <= up_to:
            return i
    raise InputError("the table of fits holds sizes over 30 up to 120 mm", field="nominal", found=nominal)


def _no_class(found: str) -> InputError:
    return InputError(
        "no such tolerance class here", field="class", found=found, hint="holes H7 J7 K7 N7, shafts h6 k5 k6 m5 m6"
    )
