"""Units: the one pint registry, our own spelling of every unit, exact conversion, and numbers written and spoken.

Values are `fractions.Fraction`, and so are the factors, so thou, inch and millimetre convert there and back
without loss. Units are passed about as text in our own spelling ("thou", "mm", "lbf·in", "°C").
"""

from __future__ import annotations

import difflib
import re
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from qclog.domain.spoken import speak_number, speak_rule_fraction
from qclog.domain.unit_names import (
    PINT_NAME,
    SPELLINGS,
    SPELLINGS_LOWER,
    TORQUE_FORCES,
    TORQUE_LENGTHS,
    WORDS,
)
from qclog.domain.writing import write_number
from qclog.errors import UnitError

if TYPE_CHECKING:
    import pint

__all__ = [
    "Dimensionality",
    "convert",
    "dimension",
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
"""Base dimensions and their powers, sorted; angle counts as one, which it doesn't in pint. () is a pure number."""

_TIDY = str.maketrans({
    "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2007": " ", "\t": " ",
    "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "﹣": "-", "－": "-", "＋": "+",
    "′": "'", "’": "'", "‘": "'", "ʹ": "'", "″": '"', "”": '"', "“": '"', "„": '"', "ʺ": '"',
    "μ": "µ", "⋅": "·", "•": "·", "∙": "·", "×": "*", "℃": "°C", "℉": "°F", "º": "°",
    "½": " 1⁄2", "¼": " 1⁄4", "¾": " 3⁄4", "⅛": " 1⁄8", "⅜": " 3⁄8", "⅝": " 5⁄8", "⅞": " 7⁄8", "∕": "/",
})  # fmt: skip
_SPACES = re.compile(r" {2,}")
_SEPARATORS = re.compile(r"[ .·*-]+")
_FORCE_WORD = re.compile(r"\b(pound|kilogram|ounce|gram)s?[- ]force\b")
_MIL = re.compile(r"(?<![a-z])mils?(?![a-z_])", re.IGNORECASE)
_NAME = r"[A-Za-zµΩΔ°%][A-Za-z0-9_°]{0,30}"
_EXPRESSION = re.compile(rf"(?:1/)?{_NAME}(?:\*\*-?[1-9])?(?:[*/]{_NAME}(?:\*\*-?[1-9])?){{0,5}}")
_POWER = re.compile(r"(?<=[a-zA-Zµ])\^?([23])(?![0-9A-Za-z])")
_POWER_SIGNS = str.maketrans({"²": "**2", "³": "**3", "·": "*", "^": "**"})
LONGEST_UNIT = 60


def tidy(text: str) -> str:
    """`text` with one sign for each minus, quote, micro, middle dot and space, and no spaces at the ends.

    Leaves letters as they are. `½` becomes a space and `1⁄2`, with the fraction slash that a typed `/` isn't.
    """
    plain = text.translate(_TIDY).replace("''", '"').strip()
    return _SPACES.sub(" ", plain)


@cache
def registry() -> pint.UnitRegistry[Fraction]:
    """The one pint registry, with exact fractions for numbers; built at the first call (about 0.4 s)."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@lru_cache(maxsize=4096)
def parse_unit(text: str) -> str:
    """Our own spelling of the unit written in `text`.

    Parameters
    ----------
    text : any common way of writing it: `lb-in`, `in.lb`, `Nm`, `um`, `"`, `inches`, or what pint knows.

    Returns
    -------
    `thou`, `in`, `mm`, `µm`, `lbf·in`, `N·m`, `kPa`, `°C`, `°`, `count`, `1` (no unit) ..., or pint's symbols.

    Raises
    ------
    UnitError : unknown, ambiguous (`mil`, `'`), or not a plain unit. pint takes `mil` for an angle.
    """
    if not isinstance(text, str):
        raise UnitError("a unit is written in letters", found=text, hint='say for example "thou" or "mm"')
    plain = tidy(text)
    if not plain:
        raise UnitError("no unit was given", found=text, hint="say for example thou, mm or lbf·in")
    if len(plain) > LONGEST_UNIT or not plain.isprintable():
        raise UnitError(
            "this is not a unit", found=text[:LONGEST_UNIT], hint="say for example thou, mm or lbf·in"
        )
    if _MIL.search(plain):
        raise UnitError(
            "to some a mil is a thousandth of an inch, elsewhere it is an angle",
            found=text,
            hint="say thou, or mm if millimetres are meant",
        )
    if "'" in plain:
        raise UnitError("' may be feet or minutes of arc", found=text, hint="say ft, arcmin or min")
    return _trade_spelling(plain) or _pint_spelling(plain, text)


def _trade_spelling(plain: str) -> str | None:
    lower = plain.lower()
    bare = lower.rstrip(".")
    known = SPELLINGS.get(plain) or SPELLINGS_LOWER.get(lower) or SPELLINGS_LOWER.get(bare)
    if known:
        return known
    parts = [part for part in _SEPARATORS.split(_FORCE_WORD.sub(r"\1", lower)) if part]
    if len(parts) == 2:
        first, second = parts
        for force, length in ((first, second), (second, first)):
            if force in TORQUE_FORCES and length in TORQUE_LENGTHS:
                return f"{TORQUE_FORCES[force]}·{TORQUE_LENGTHS[length]}"
    return None


def _pint_spelling(plain: str, text: str) -> str:
    expression = _POWER.sub(r"**\1", plain.translate(_POWER_SIGNS)).replace(" ", "*").replace("***", "**")
    if not _EXPRESSION.fullmatch(expression):
        raise _unknown(plain, text)
    import pint

    units = registry()
    try:
        container = units.parse_units_as_container(_with_pint_names(expression))
    except (pint.PintError, ValueError, TypeError) as error:
        raise _unknown(plain, text) from error
    if any(name.endswith("mil") for name in container):
        raise UnitError("pint takes mil for an angle", found=text, hint="say thou or mm")
    known = _by_container().get(frozenset(container.items()))
    if known:
        return known
    _line(_with_pint_names(expression), None)
    return _spell(container)


def _with_pint_names(expression: str) -> str:
    """Each name in our own spelling put as pint spells it, so that what `_spell` wrote is read back."""
    return re.sub(_NAME, lambda match: PINT_NAME.get(match[0], match[0]), expression)


@cache
def _by_container() -> dict[frozenset[tuple[str, Fraction]], str]:
    units = registry()
    return {
        frozenset(units.parse_units_as_container(name).items()): unit
        for unit, name in reversed(PINT_NAME.items())
    }


def _spell(container: pint.util.UnitsContainer) -> str:
    symbols = _by_container()
    over, under = [], []
    for name, power in container.items():
        symbol = symbols.get(frozenset({(name, Fraction(1))})) or _symbol(name)
        size = abs(Fraction(power))
        (over if power > 0 else under).append(symbol + ("" if size == 1 else f"^{size}"))
    text = "·".join(sorted(over)) or "1"
    return "/".join([text, *sorted(under)]).replace("^2", "²").replace("^3", "³")


def _symbol(name: str) -> str:
    """pint's symbol for `name`, or the name itself where the trade means another unit by that symbol."""
    symbol = registry().get_symbol(name)
    if _trade_spelling(symbol) or not re.fullmatch(_NAME, symbol) or _MIL.search(symbol):
        return name
    same = registry().parse_units_as_container(symbol) == registry().parse_units_as_container(name)
    return symbol if same else name


def _unknown(plain: str, text: str) -> UnitError:
    near = difflib.get_close_matches(plain.lower(), [*SPELLINGS, *SPELLINGS_LOWER], n=1, cutoff=0.7)
    if near:
        meant = SPELLINGS.get(near[0]) or SPELLINGS_LOWER[near[0]]
        hint = f"did you mean {meant}?"
    else:
        hint = "say for example thou, in, mm, lbf·in, N·m, kgf, kPa or °C"
    return UnitError("unknown unit", found=text, hint=hint)


@lru_cache(maxsize=1024)
def dimensionality(unit: str) -> Dimensionality:
    """Base dimensions of `unit` and their powers, hashable, for checking formulas; () for a pure number.

    Torque and energy have the same. An angle is a dimension here, so 12° and 12 pieces don't mix.
    """
    from pint.util import to_units_container

    units = registry()
    container = units.parse_units_as_container(_pint_expression(parse_unit(unit)))
    found = {str(name): Fraction(power) for name, power in units.get_dimensionality(container).items()}
    _, roots = units.get_root_units(container)
    turns = to_units_container(roots).get("radian", 0)
    if turns:
        found["[angle]"] = Fraction(turns)
    return tuple(sorted(found.items()))


def _pint_expression(unit: str) -> str:
    if unit in PINT_NAME:
        return PINT_NAME[unit]
    return _with_pint_names(unit.translate(_POWER_SIGNS))


_DIMENSION_WORDS = {
    "thou": "length", "lbf·in": "torque", "N": "force", "kPa": "pressure", "°C": "temperature", "°": "angle",
    "1": "number", "kg": "mass", "s": "time", "N/mm": "stiffness", "rpm": "speed of rotation",
    "mm²": "area", "mm³": "volume", "m/s": "speed", "W": "power", "V": "voltage", "Hz": "frequency",
}  # fmt: skip


@cache
def _dimension_words() -> dict[Dimensionality, str]:
    return {dimensionality(unit): word for unit, word in _DIMENSION_WORDS.items()}


def dimension(unit: str) -> str:
    """A person's word for what `unit` measures: length, torque, force, pressure, temperature, angle, number ..."""
    found = dimensionality(unit)
    word = _dimension_words().get(found)
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
    return _line(_pint_expression(from_unit), _pint_expression(to_unit))


def _line(start: str, end: str | None) -> tuple[Fraction, Fraction]:
    """Slope and offset from one pint expression to another, or to base units; refuses logarithmic scales."""
    units = registry()
    scale, goal = units.parse_units(start), None if end is None else units.parse_units(end)
    try:
        quantities = [units.Quantity(Fraction(x), scale) for x in (0, 1, 2)]
        points = [(q.to_root_units() if goal is None else q.to(goal)).magnitude for q in quantities]
    except (AttributeError, TypeError, ValueError) as error:
        raise UnitError("this unit does not convert", found=start, hint="use a plain unit") from error
    if not all(isinstance(point, Fraction | int) for point in points):
        raise UnitError("this unit has no exact conversion", found=start, hint="use a plain unit")
    zero, one, two = map(Fraction, points)
    if two - one != one - zero:
        raise UnitError("this unit is not an even scale", found=start, hint="use a plain unit")
    return one - zero, zero


def factor(from_unit: str, to_unit: str) -> Fraction:
    """How many `to_unit` make one `from_unit`, exactly as pint defines them (1 in = 127/5 mm).

    Raises
    ------
    UnitError : the dimensions differ (both are named), or the scales have different zeros (°C and °F).
    """
    slope, offset = _straight_line(parse_unit(from_unit), parse_unit(to_unit))
    if offset:
        raise UnitError(
            f"{from_unit} and {to_unit} have different zeros, so no one factor converts them", found=from_unit
        )
    return slope


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
    """`value` and its unit as read aloud: "sixteen and a half thou", "one millimetre", "minus two newton metres".

    With `as_fraction`, what a rule is graduated in is said so: "fifteen sixteenths of an inch".
    """
    name = parse_unit(unit)
    one, several = WORDS.get(name, (name, name))
    if as_fraction and (part := speak_rule_fraction(value)):
        number, below_one = part
        return f"{number} of an {one}" if below_one and name == "in" else f"{number} {several}"
    word = one if value in (1, Fraction(1, 2)) and (value == 1 or name == "thou") else several
    return f"{speak_number(value, halves=name == 'thou')} {word}".rstrip()
