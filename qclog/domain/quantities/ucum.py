"""Codes of the Unified Code for Units of Measure (UCUM, ucum.org, case-sensitive form) for the trade's units."""

from __future__ import annotations

from qclog.domain.quantities.unit_names import PINT_NAME

_CODES = {
    "thou": "[mil_i]", "in": "[in_i]", "ft": "[ft_i]", "mm": "mm", "cm": "cm", "m": "m", "µm": "um",
    "l": "L", "ml": "mL",
    "N": "N", "kN": "kN", "mN": "mN", "MN": "MN", "cN": "cN", "daN": "daN",
    "lbf": "[lbf_av]", "kgf": "kgf", "ozf": "[lbf_av]/16", "gf": "gf",
    "lb": "[lb_av]", "oz": "[oz_av]", "kg": "kg", "g": "g",
    "Pa": "Pa", "mPa": "mPa", "kPa": "kPa", "MPa": "MPa", "bar": "bar", "mbar": "mbar", "psi": "[psi]",
    "kgf/cm²": "kgf/cm2", "lbf/in": "[lbf_av]/[in_i]", "N/mm": "N/mm",
    "°C": "Cel", "°F": "[degF]", "K": "K", "°": "deg", "arcmin": "'", "rad": "rad",
    "s": "s", "min": "min", "h": "h", "rpm": "{rev}/min", "%": "%", "count": "1", "1": "1",
}  # fmt: skip


def ucum_code(unit: str) -> str | None:
    """The code of a unit in our spelling; None for one that has none here.

    A torque is written force times length, as in `[lbf_av].[in_i]`. A turn is counted, so rpm is `{rev}/min`.
    """
    if unit in _CODES:
        return _CODES[unit]
    force, _, length = unit.partition("·")
    if unit not in PINT_NAME or force not in _CODES or length not in _CODES:
        return None
    return f"{_CODES[force]}.{_CODES[length]}"
