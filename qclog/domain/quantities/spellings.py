"""Units as people write them, put in our own spelling; and the one pint registry, which knows the rest."""

from __future__ import annotations

import difflib
import re
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from qclog.domain.quantities.trade_factors import Powers, in_base, powers_of
from qclog.domain.quantities.unit_names import PINT_NAME, SPELLINGS, SPELLINGS_LOWER, TORQUE_FORCES, TORQUE_LENGTHS
from qclog.domain.quantities.writing import tidy
from qclog.errors import UnitError

if TYPE_CHECKING:
    import pint

_SEPARATORS = re.compile(r"[ .·*-]+")
_FORCE_WORD = re.compile(r"\b(pound|kilogram|ounce|gram)s?[- ]force\b")
_MIL = re.compile(r"(?<![a-z])mils?(?![a-z_])", re.IGNORECASE)
_NAME = r"[A-Za-zµΩΔ°%][A-Za-z0-9_°]{0,40}"
_EXPRESSION = re.compile(rf"(?:1/)?{_NAME}(?:\*\*-?[1-9])?(?:[*/]{_NAME}(?:\*\*-?[1-9])?){{0,5}}")
_POWER = re.compile(r"(?<=[a-zA-Zµ])\^?([23])(?![0-9A-Za-z])")
_POWER_SIGNS = str.maketrans({"²": "**2", "³": "**3", "·": "*", "^": "**"})
LONGEST_UNIT = 60


@cache
def registry() -> pint.UnitRegistry[Fraction]:
    """The one pint registry, with exact fractions for numbers; loaded for units that are not the trade's (0.4 s)."""
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
    `thou`, `in`, `mm`, `µm`, `lbf·in`, `N·m`, `kPa`, `°C`, `°`, `count`, `1` (no unit), or pint's symbols.

    Raises
    ------
    UnitError : unknown, ambiguous (`mil`, `'`, `M`), or not a plain unit. pint takes `mil` for an angle.
    """
    if not isinstance(text, str):
        raise UnitError("a unit is written in letters", found=text, hint='say for example "thou" or "mm"')
    plain = tidy(text)
    if not plain:
        raise UnitError("no unit was given", found=text, hint="say for example thou, mm or lbf·in")
    if len(plain) > LONGEST_UNIT or not plain.isprintable():
        raise UnitError("this is not a unit", found=text[:LONGEST_UNIT], hint="say for example thou, mm or lbf·in")
    if _MIL.search(plain):
        raise UnitError(
            "to some a mil is a thousandth of an inch, elsewhere it is an angle",
            found=text,
            hint="say thou, or mm if millimetres are meant",
        )
    if plain.rstrip(".") == "M":
        raise UnitError("M is no unit of its own", found=text, hint="say mm for millimetres, m for metres, or thou")
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
    expression = _with_pint_names(expression)
    found = powers_of(expression)
    if found is None:
        found = _powers_by_pint(expression, plain, text)
    known = _by_powers().get(found)
    if known:
        return known
    line(expression, None)
    return _spell(found)


def _powers_by_pint(expression: str, plain: str, text: str) -> Powers:
    import pint

    try:
        container = registry().parse_units_as_container(expression)
    except (pint.PintError, ValueError, TypeError) as error:
        raise _unknown(plain, text) from error
    if any(name.endswith("mil") for name in container):
        raise UnitError("pint takes mil for an angle", found=text, hint="say thou or mm")
    return powers(container)


def _with_pint_names(expression: str) -> str:
    """Each name in our own spelling put as pint spells it, so that what `_spell` wrote is read back."""
    return re.sub(_NAME, lambda match: PINT_NAME.get(match[0], match[0]), expression)


@cache
def _by_powers() -> dict[Powers, str]:
    """The trade's units, all of which `powers_of` knows, by what they are made of."""
    return {found: unit for unit, name in reversed(PINT_NAME.items()) if (found := powers_of(name)) is not None}


def powers(container: pint.util.UnitsContainer) -> Powers:
    """What `container` holds, with exact powers."""
    return frozenset((name, Fraction(str(power))) for name, power in container.items())


def _spell(found: Powers) -> str:
    symbols = _by_powers()
    over: list[str] = []
    under: list[str] = []
    for name, power in found:
        symbol = symbols.get(frozenset({(name, Fraction(1))})) or _symbol(name)
        size = abs(power)
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
    if plain.lower() == "mpa":
        hint = "MPa is a megapascal, mPa a millipascal"
    elif near:
        meant = SPELLINGS.get(near[0]) or SPELLINGS_LOWER[near[0]]
        hint = f"did you mean {meant}?"
    else:
        hint = "say for example thou, in, mm, lbf·in, N·m, kgf, kPa or °C"
    return UnitError("unknown unit", found=text, hint=hint)


def pint_expression(unit: str) -> str:
    """`unit`, in our own spelling, as pint reads it."""
    if unit in PINT_NAME:
        return PINT_NAME[unit]
    return _with_pint_names(unit.translate(_POWER_SIGNS))


def line(start: str, end: str | None) -> tuple[Fraction, Fraction]:
    """Slope and offset from one pint expression to another, or to base units; refuses logarithmic scales."""
    given, wanted = in_base(start), None if end is None else in_base(end)
    if given is not None and end is None:
        return given.slope, given.offset
    if given is not None and wanted is not None:
        return given.slope / wanted.slope, (given.offset - wanted.offset) / wanted.slope
    return _line_by_pint(start, end)


def _line_by_pint(start: str, end: str | None) -> tuple[Fraction, Fraction]:
    units = registry()
    scale, goal = units.parse_units(start), None if end is None else units.parse_units(end)
    try:
        quantities = [units.Quantity(Fraction(x), scale) for x in (0, 1, 2)]
        points = [(q.to_base_units() if goal is None else q.to(goal)).magnitude for q in quantities]
    except (AttributeError, TypeError, ValueError) as error:
        raise UnitError("this unit does not convert", found=start, hint="use a plain unit") from error
    if not all(isinstance(point, Fraction | int) for point in points):
        raise UnitError("this unit has no exact conversion", found=start, hint="use a plain unit")
    zero, one, two = map(Fraction, points)
    if two - one != one - zero:
        raise UnitError("this unit is not an even scale", found=start, hint="use a plain unit")
    return one - zero, zero
