"""What each of the trade's units is in base units, exactly as pint defines it, so that pint is loaded only for others.

pint and its whole registry take longer to load than most commands take altogether. A test compares every entry here,
and every conversion between two of them, with pint's own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

Powers = frozenset[tuple[str, Fraction]]
"""Names of units or dimensions, with the power of each."""


@dataclass(frozen=True, slots=True)
class InBase:
    """One of a unit is `slope` base units (m, kg, s, K, rad), counted from `offset`; `dimensions` has angle too."""

    slope: Fraction
    offset: Fraction
    dimensions: Powers


_PI = Fraction("3.1415926535897932384626433832795028841971693993751")
_GRAVITY = Fraction("9.80665")
_POUND = Fraction("0.45359237")
_INCH = Fraction("0.0254")

_NUMBER: dict[str, int] = {}
_LENGTH = {"[length]": 1}
_VOLUME = {"[length]": 3}
_MASS = {"[mass]": 1}
_TIME = {"[time]": 1}
_TEMPERATURE = {"[temperature]": 1}
_ANGLE = {"[angle]": 1}
_TURNING = {"[angle]": 1, "[time]": -1}
_FORCE = {"[mass]": 1, "[length]": 1, "[time]": -2}
_PRESSURE = {"[mass]": 1, "[length]": -1, "[time]": -2}

_FACTORS: dict[str, tuple[Fraction | int, dict[str, int]]] = {
    "meter": (1, _LENGTH),
    "centimeter": (Fraction("0.01"), _LENGTH),
    "millimeter": (Fraction("0.001"), _LENGTH),
    "micrometer": (Fraction("0.000001"), _LENGTH),
    "inch": (_INCH, _LENGTH),
    "foot": (12 * _INCH, _LENGTH),
    "thou": (_INCH / 1000, _LENGTH),
    "liter": (Fraction("0.001"), _VOLUME),
    "milliliter": (Fraction("0.000001"), _VOLUME),
    "kilogram": (1, _MASS),
    "gram": (Fraction("0.001"), _MASS),
    "pound": (_POUND, _MASS),
    "ounce": (_POUND / 16, _MASS),
    "second": (1, _TIME),
    "minute": (60, _TIME),
    "hour": (3600, _TIME),
    "newton": (1, _FORCE),
    "kilonewton": (1000, _FORCE),
    "meganewton": (1_000_000, _FORCE),
    "decanewton": (10, _FORCE),
    "centinewton": (Fraction("0.01"), _FORCE),
    "millinewton": (Fraction("0.001"), _FORCE),
    "pound_force": (_POUND * _GRAVITY, _FORCE),
    "ounce_force": (_POUND * _GRAVITY / 16, _FORCE),
    "kilogram_force": (_GRAVITY, _FORCE),
    "gram_force": (_GRAVITY / 1000, _FORCE),
    "pascal": (1, _PRESSURE),
    "kilopascal": (1000, _PRESSURE),
    "megapascal": (1_000_000, _PRESSURE),
    "millipascal": (Fraction("0.001"), _PRESSURE),
    "bar": (100_000, _PRESSURE),
    "millibar": (100, _PRESSURE),
    "pound_force_per_square_inch": (_POUND * _GRAVITY / _INCH**2, _PRESSURE),
    "kelvin": (1, _TEMPERATURE),
    "radian": (1, _ANGLE),
    "degree": (_PI / 180, _ANGLE),
    "arcminute": (_PI / 180 / 60, _ANGLE),
    "revolutions_per_minute": (2 * _PI / 60, _TURNING),
    "count": (1, _NUMBER),
    "percent": (Fraction("0.01"), _NUMBER),
    "dimensionless": (1, _NUMBER),
}
_SCALES = {
    "degree_Celsius": (Fraction(1), Fraction("273.15")),
    "degree_Fahrenheit": (Fraction(5, 9), Fraction("233.15") + Fraction(200, 9)),
}
_PINT_SPELLS = {
    "pound_force": "force_pound",
    "ounce_force": "force_ounce",
    "kilogram_force": "force_kilogram",
    "gram_force": "force_gram",
}
_FIRST = re.compile(r"(1(?=/)|[A-Za-z_]+)(?:\*\*(-?[1-9]))?")
_NEXT = re.compile(r"([*/])([A-Za-z_]+)(?:\*\*(-?[1-9]))?")


@lru_cache(maxsize=4096)
def powers_of(expression: str) -> Powers | None:
    """The units in an expression that pint reads (`pound_force*inch`), as pint names them; None if one isn't here."""
    if expression in _SCALES:
        return frozenset({(expression, Fraction(1))})
    parts = _parts(expression)
    if parts is None or not parts.keys() <= _FACTORS.keys():
        return None
    return frozenset((_PINT_SPELLS.get(n, n), Fraction(p)) for n, p in parts.items() if p and n != "dimensionless")


@lru_cache(maxsize=4096)
def in_base(expression: str) -> InBase | None:
    """What one of `expression` is in base units; None for what only pint knows, such as a scale times something."""
    if expression in _SCALES:
        return InBase(*_SCALES[expression], frozenset((name, Fraction(p)) for name, p in _TEMPERATURE.items()))
    parts = _parts(expression)
    if parts is None or not parts.keys() <= _FACTORS.keys():
        return None
    slope = Fraction(1)
    dimensions: dict[str, int] = {}
    for name, power in parts.items():
        factor, own = _FACTORS[name]
        slope *= Fraction(factor) ** power
        for dimension, each in own.items():
            dimensions[dimension] = dimensions.get(dimension, 0) + each * power
    return InBase(slope, Fraction(0), frozenset((name, Fraction(p)) for name, p in dimensions.items() if p))


def _parts(expression: str) -> dict[str, int] | None:
    """The names in an expression with their powers; None if it is more than products and quotients of names."""
    match = _FIRST.match(expression)
    if match is None:
        return None
    found = {} if match[1] == "1" else {match[1]: int(match[2] or 1)}
    at = match.end()
    while at < len(expression):
        match = _NEXT.match(expression, at)
        if match is None:
            return None
        power = int(match[3] or 1)
        found[match[2]] = found.get(match[2], 0) + (power if match[1] == "*" else -power)
        at = match.end()
    return found
