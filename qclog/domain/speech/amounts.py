"""One number with or without a unit, in figures or in words: "0,41 mm", `1 1/2"`, "two and a half thou"."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from qclog.domain.quantities.spoken import understand
from qclog.domain.quantities.units import convert, dimension, dimensionality, parse_unit
from qclog.errors import ReadingError, UnitError

SAY = "say for example 16, 0.41 mm, 15/16, 15 goes 16 no, no leaf enters or not accessible: why"
LARGEST = 10**12
SMALLEST = Fraction(1, 10**12)

_END = r"(?![0-9/⁄.,])"
_MIXED = re.compile(rf"(?P<sign>[+-] ?)?(?P<whole>[0-9]+)[ -] ?(?P<top>[0-9]+)[/⁄](?P<bottom>[0-9]+){_END}")
_VULGAR = re.compile(rf"(?P<sign>[+-] ?)?(?P<top>[0-9]+)⁄(?P<bottom>[0-9]+){_END}")
_OF_AN_INCH = re.compile(rf"(?P<sign>[+-] ?)?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+){_END}")
_DECIMAL = re.compile(
    r"(?P<sign>[+-] ?)?(?P<figures>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
    r"(?P<power>[eE][+-]?[0-9]{1,3})?(?![0-9.,])"
)
_THOUSANDS = re.compile(
    r"(?:[+-]|minus|negative|plus|positive)? ?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])", re.IGNORECASE
)
_HEARD = re.compile(
    r"(?:.* )?and (?:a|one|three) (?:half|quarter)"
    r"|[ -]*(?:half|halves|thirds?|quarters?|eighths?|sixteenths?|thirty-seconds?|sixty-fourths?"
    r"|tenths?|hundredths?)\b",
    re.IGNORECASE,
)
# on a spring balance a weight is read as a force
_WEIGHED = {"lb": "lbf", "kg": "kgf", "oz": "ozf", "g": "gf"}


class Amount(NamedTuple):
    """A value in a unit, and whether the unit was said or is the characteristic's own."""

    value: Fraction
    unit: str
    unit_said: bool


def not_understood(found: str) -> ReadingError:
    """The error for a text that says nothing we know."""
    return ReadingError("this is not understood", field="reading", found=found[:80], hint=SAY)


def starts_with_mixed_number(plain: str) -> bool:
    """Whether `plain` begins with a whole number and a fraction, such as `1 1/2`."""
    return _MIXED.match(plain) is not None


def is_of_an_inch(plain: str) -> bool:
    """Whether `plain` begins with two whole numbers and a slash, a fraction where inches are meant."""
    return _OF_AN_INCH.match(plain) is not None


def read_amount(said: str, own: str) -> Amount:
    """The number in `said` (tidied), and its unit, or else `own`.

    Raises
    ------
    ReadingError : not a number, or one that may be read two ways.
    UnitError : the unit is unknown or doesn't fit `own`.
    """
    plain = said.strip()
    if _THOUSANDS.match(plain):
        raise ReadingError(
            "the comma may mark decimals or thousands",
            field="reading",
            found=plain,
            hint="say 1.234 or 1234",
        )
    value, rest = _split(plain, own)
    if abs(value) >= LARGEST or 0 < abs(value) < SMALLEST:
        raise ReadingError("far too large or too small to be a reading", field="reading", found=plain, hint=SAY)
    rest = rest.strip(" ,;")
    if re.match(r"-? ?[0-9]", rest):
        raise ReadingError(
            "two numbers one after the other",
            field="reading",
            found=plain,
            hint="say 15/16 if 15 goes and 16 does not, 1 1/2 for a fraction, or give one number",
        )
    if not rest:
        return Amount(value, own, unit_said=False)
    return Amount(value, fitting_unit(rest, own), unit_said=True)


def _split(plain: str, own: str) -> tuple[Fraction, str]:
    """The value `plain` begins with, and what follows it."""
    match = _MIXED.match(plain) or _VULGAR.match(plain)
    if match is None and (match := _OF_AN_INCH.match(plain)):
        rest = plain[match.end() :].strip()
        if (fitting_unit(rest, own) if rest else own) != "in":
            raise not_understood(plain)
    if match is not None:
        return _fraction(match, plain), plain[match.end() :]
    match = _DECIMAL.match(plain)
    if match is not None and not _HEARD.match(plain, match.end()):
        figures = match["figures"].replace(",", ".") + (match["power"] or "")
        value = Fraction(figures)
        return -value if _is_minus(match) else value, plain[match.end() :]
    heard = understand(plain)
    if heard is None:
        raise not_understood(plain)
    return heard


def _is_minus(match: re.Match[str]) -> bool:
    return (match["sign"] or "").startswith("-")


def _fraction(match: re.Match[str], plain: str) -> Fraction:
    named = match.groupdict()
    top, bottom, whole = int(named["top"]), int(named["bottom"]), named.get("whole")
    if bottom == 0 or (whole is not None and top >= bottom):
        raise ReadingError("that is not a fraction", field="reading", found=plain, hint="say for example 1 1/2 in")
    value = int(whole or 0) + Fraction(top, bottom)
    return -value if _is_minus(match) else value


@lru_cache(maxsize=2048)
def fitting_unit(text: str, own: str) -> str:
    """Our spelling of the unit `text`, which must measure what `own` does.

    Where a force is asked for, lb, kg, oz and g are the force of that weight, as spring balances are marked.

    Raises
    ------
    UnitError : unknown, of another dimension (both are named), or without an exact conversion to `own`.
    """
    try:
        name = parse_unit(text)
    except UnitError as error:
        raise UnitError(error.message, field="reading", found=text, hint=error.hint) from error
    if name == own:
        return own
    wanted = dimensionality(own)
    if name in _WEIGHED and wanted == dimensionality("N"):
        name = _WEIGHED[name]
    if name == "1" and not wanted:
        return own
    if dimensionality(name) != wanted:
        raise UnitError(
            f"{name} is a unit of {dimension(name)}, but {dimension(own)} is measured here",
            field="reading",
            found=text,
            hint="for torque say N·m; nm is a nanometre" if name == "nm" else f"give it in {own}",
        )
    try:
        convert(Fraction(1), name, own)
    except UnitError as error:  # such as a percentage of a difference in °C
        raise UnitError(error.message, field="reading", found=text, hint=f"give it in {own}") from error
    return name
