"""Numbers, limits and counts as people read them."""

from __future__ import annotations

from fractions import Fraction
from math import floor, log10

from qclog.domain.quantities import units
from qclog.domain.quantities.writing import write_number
from qclog.domain.sheets.casetypes import Characteristic, Limits

_FINEST = 9  # decimals


def limits_text(limits: Limits | None) -> str:
    """A limit set as a person would say it: `15 to 17.5, wanted 16`; empty for none."""
    if limits is None:
        return ""
    lower, upper = limits.lower, limits.upper
    if lower is not None and upper is not None:
        said = f"{lower:g} to {upper:g}"
    elif upper is not None:
        said = f"at most {upper:g}"
    elif lower is not None:
        said = f"at least {lower:g}"
    else:
        said = ""
    wanted = f"wanted {limits.nominal:g}" if limits.nominal is not None else ""
    return ", ".join(part for part in (said, wanted) if part)


def number_text(value: float | None, characteristic: Characteristic, *, u: float | None = None) -> str:
    """A value without its unit, always with the same decimals: those of its gauge's step, and one more where several
    readings make it.

    Without a step, as fine as the first figure of its standard uncertainty `u`.
    """
    if value is None:
        return ""
    step = characteristic.step
    if step is None:
        value = round(value, _FINEST) + 0.0  # what is left over from sums in doubles is nothing, and never -0
        if u is not None and u > 10**-_FINEST:
            return f"{value:.{max(0, -floor(log10(u)))}f}"
        return f"{value:.5g}"
    several = bool(characteristic.positions) or characteristic.derived
    finest = Fraction(str(step)) / (10 if several else 1)
    text = write_number(Fraction(value).limit_denominator(10**9), step=finest)
    whole, _, decimals = text.partition(".")
    wanted = len(write_number(finest).partition(".")[2])
    return text if len(decimals) >= wanted else f"{whole}.{decimals:0<{wanted}}"


def unit_name(characteristic: Characteristic) -> str:
    """The unit as people write it; empty for plain numbers and words."""
    if characteristic.in_words:
        return ""
    name = units.parse_unit(characteristic.unit)
    return "" if name in ("1", "count") else name


def plural(count: int, one: str, many: str | None = None) -> str:
    """`1 reading`, `3 readings`."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
