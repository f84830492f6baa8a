"""Units: what one measures, exact conversion between two, and values written and said with their units.

Values are `fractions.Fraction`, and so are the factors, so thou, inch and millimetre convert there and back
without loss. Units are passed about as text in our own spelling ("thou", "mm", "lbf·in", "°C").
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache, lru_cache

from qclog.domain.quantities.spellings import line, parse_unit, pint_expression, powers, registry
from qclog.domain.quantities.spoken import speak_number, speak_rule_fraction
from qclog.domain.quantities.trade_factors import in_base
from qclog.domain.quantities.unit_names import PINT_NAME, WORDS
from qclog.domain.quantities.writing import tidy, write_number
from qclog.errors import UnitError

__all__ = [
    "Dimensionality",
    "base_factor",
    "convert",
    "dimension",
    "dimension_of",
    "dimensionality",
    "factor",
    "in_words",
    "parse_unit",
    "registry",
    "tidy",
    "write",
    "write_number",
]

Dimensionality = tuple[tuple[str, Fraction], ...]
"""Base dimensions and their powers, sorted; angle is one, as in pint it isn't. () is a pure number."""


@lru_cache(maxsize=1024)
def dimensionality(unit: str) -> Dimensionality:
    """Base dimensions of `unit` and their powers, hashable, for checking formulas; () for a pure number.

    Torque and energy have the same. An angle is a dimension here, so 12° and 12 pieces don't mix.
    """
    expression = pint_expression(parse_unit(unit))
    trade = in_base(expression)
    return tuple(sorted(_dimensions_by_pint(expression).items() if trade is None else trade.dimensions))


def _dimensions_by_pint(expression: str) -> dict[str, Fraction]:
    from pint.util import to_units_container

    units = registry()
    container = units.parse_units_as_container(expression)
    found = dict(powers(units.get_dimensionality(container)))
    _, roots = units.get_root_units(container)
    turns = dict(powers(to_units_container(roots))).get("radian")
    if turns:
        found["[angle]"] = turns
    return found


_DIMENSION_WORDS = {
    "thou": "length", "lbf·in": "torque", "N": "force", "kPa": "pressure", "°C": "temperature", "°": "angle",
    "1": "number", "kg": "mass", "s": "time", "N/mm": "stiffness", "rpm": "speed of rotation",
    "mm²": "area", "mm³": "volume", "m/s": "speed",
}  # fmt: skip
_OTHER_WORDS = {"W": "power", "V": "voltage", "Hz": "frequency"}  # of which only pint knows the dimension


@cache
def _dimension_words() -> dict[Dimensionality, str]:
    return {dimensionality(unit): word for unit, word in _DIMENSION_WORDS.items()}


@cache
def _other_words() -> dict[Dimensionality, str]:
    return {dimensionality(unit): word for unit, word in _OTHER_WORDS.items()}


def dimension(unit: str) -> str:
    """A person's word for what `unit` measures: length, torque, force, pressure, angle, number ..."""
    return dimension_of(dimensionality(unit))


def dimension_of(found: Dimensionality) -> str:
    """A person's word for base dimensions, such as `dimensionality` gives; spelled out if it has none."""
    word = _dimension_words().get(found) or _other_words().get(found)
    if word is not None:
        return word
    return "·".join(name.strip("[]") + ("" if power == 1 else f"^{power}") for name, power in found)


@lru_cache(maxsize=4096)
def _straight_line(from_unit: str, to_unit: str) -> tuple[Fraction, Fraction]:
    """Slope and offset of the conversion; worked out by pint once for each pair of units."""
    if from_unit == to_unit and from_unit in PINT_NAME:
        return Fraction(1), Fraction(0)
    if dimensionality(from_unit) != dimensionality(to_unit):
        raise UnitError(
            f"{from_unit} is a {dimension(from_unit)}, {to_unit} is a {dimension(to_unit)}",
            found=from_unit,
            hint="nm is a nanometre; for torque say N·m"
            if from_unit == "nm"
            else f"give it in {to_unit} or another unit of {dimension(to_unit)}",
        )
    return line(pint_expression(from_unit), pint_expression(to_unit))


def factor(from_unit: str, to_unit: str) -> Fraction:
    """How many `to_unit` make one `from_unit`, exactly as pint defines them (1 in = 127/5 mm).

    Raises
    ------
    UnitError : the dimensions differ (both are named), or the scales have different zeros (°C and °F).
    """
    slope, offset = _straight_line(parse_unit(from_unit), parse_unit(to_unit))
    if offset:
        raise UnitError(
            f"{from_unit} and {to_unit} have different zeros, so no one factor converts them",
            found=from_unit,
            hint="convert the value itself",
        )
    return slope


@lru_cache(maxsize=1024)
def base_factor(unit: str) -> float:
    """What one step of `unit` is in SI base units (m, kg, s, K, rad); where its zero is doesn't count."""
    return float(line(pint_expression(parse_unit(unit)), None)[0])


def convert(value: Fraction, from_unit: str, to_unit: str) -> Fraction:
    """`value` in `to_unit`, exactly; temperatures are converted as points on the scale.

    Raises
    ------
    UnitError : the dimensions differ; both are named.
    """
    if from_unit == to_unit:
        return value
    slope, offset = _straight_line(parse_unit(from_unit), parse_unit(to_unit))
    return value * slope + offset


def write(value: Fraction, unit: str, *, step: Fraction | None = None) -> str:
    """`value` with its unit: "16 thou", "0.41 mm", "12°". See `write_number` for the decimals."""
    name = parse_unit(unit)
    number = write_number(value, step=step)
    if name in ("1", "count"):
        return number
    return f"{number}{name}" if name == "°" else f"{number} {name}"


def in_words(value: Fraction, unit: str, *, as_fraction: bool = False) -> str:
    """`value` and its unit as read aloud: "sixteen and a half thou", "one millimetre", "two newton metres".

    With `as_fraction`, what a rule is graduated in is said so: "fifteen sixteenths of an inch".
    """
    name = parse_unit(unit)
    one, several = WORDS.get(name, (name, name))
    if as_fraction and (part := speak_rule_fraction(value)):
        number, below_one = part
        return f"{number} of an {one}" if below_one and name == "in" else f"{number} {several}"
    word = one if value in (1, Fraction(1, 2)) and (value == 1 or name == "thou") else several
    return f"{speak_number(value, halves=name == 'thou')} {word}".rstrip()
