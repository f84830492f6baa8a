"""A reading of a size that can't well be right is asked about, never converted in silence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from qclog.domain.quantities.units import dimension, parse_unit, write, write_number
from qclog.domain.speech.said import Said, canonical, convert_said

_ALSO_MEANT = {
    "length": ("mm", "thou", "in", "µm"),
    "torque": ("N·m", "lbf·in", "lbf·ft", "kgf·cm", "N·cm", "kgf·m"),
    "force": ("N", "lbf", "kgf"),
    "pressure": ("kPa", "psi", "bar", "MPa"),
    "temperature": ("°C", "°F"),
    "mass": ("g", "kg", "oz", "lb"),
    "angle": ("°", "arcmin"),
}

N = TypeVar("N", Fraction, float)
PlausibleRange = tuple[Fraction | None, Fraction | None]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A question to the person who gave the reading, and what else it could have been.

    Each suggestion is a reading in the unit that would make it plausible, its text ready to be entered.
    """

    question: str
    suggestions: tuple[Said, ...]


def doubt(said: Said, *, unit: str, plausible: PlausibleRange, step: Fraction | None = None) -> Doubt | None:
    """A question if `said` lies outside the `plausible` range (lowest, highest, in `unit`), else None.

    Parameters
    ----------
    said : the reading, in any unit of the same dimension.
    unit : the characteristic's own unit, which `plausible` and `step` are in.
    plausible : lowest and highest believable value, None for no end.
    step : of the usual gauge; how finely values are written in the question.

    Raises
    ------
    UnitError : the dimensions differ.
    """
    target = parse_unit(unit)
    if said.kind in ("none", "word") or _is_believable(convert_said(said, target), plausible):
        return None
    # Leaves are marked in their own unit, so one that does not enter is not a slip of the unit.
    others = _other_meanings(said, dimension(target)) if said.kind in ("point", "bracket") else ()
    suggestions = tuple(meant for meant in others if _is_believable(convert_said(meant, target), plausible))
    if said.unit == target:
        shown = _show(said, None)
    else:
        shown = f"{_show(said, None)} ({_show(convert_said(said, target), step)})"
    question = f"{shown} is {_outside(plausible, target)}."
    if suggestions:
        question += f" Did you mean {_either(suggestions, target, step)}?"
    else:
        question += " Is it right?"
    return Doubt(question, suggestions)


def _is_believable(said: Said, plausible: PlausibleRange) -> bool:
    return is_believable(said.kind, said.low, said.high, plausible)


def is_believable(kind: str, low: N | None, high: N | None, plausible: tuple[N | None, N | None]) -> bool:
    """Whether some value that a reading allows is within the range; the ends of a bracket aren't allowed by it."""
    lowest, highest = plausible
    if kind == "point":
        return low is not None and (lowest is None or low >= lowest) and (highest is None or low <= highest)
    too_low = lowest is not None and high is not None and high <= lowest
    too_high = highest is not None and low is not None and low >= highest
    return not (too_low or too_high)


def _other_meanings(said: Said, measured: str) -> Iterator[Said]:
    """The same figures in other units, and `15/16` as a fraction of an inch."""
    for unit in _ALSO_MEANT.get(measured, ()):
        if unit != said.unit:
            yield _as_if(said, unit)
    low, high = said.low, said.high
    if measured != "length" or said.kind != "bracket" or low is None or not high:
        return
    if low.denominator == high.denominator == 1:
        yield Said(f"{low}/{high} in", "point", low / high, low / high, "in")


def _as_if(said: Said, unit: str) -> Said:
    meant = replace(said, unit=unit)
    return replace(meant, text=canonical(meant))


def _show(said: Said, step: Fraction | None) -> str:
    low, high = said.low, said.high
    if low is None or high is None:
        end = low if low is not None else high
        return (
            "no leaf" if end is None else f"{'above' if high is None else 'below'} {write(end, said.unit, step=step)}"
        )
    if said.kind == "point":
        return write(low, said.unit, step=step)
    return f"{write_number(low, step=step)}/{write(high, said.unit, step=step)}"


def _outside(plausible: PlausibleRange, unit: str) -> str:
    lowest, highest = plausible
    if lowest is not None and highest is not None:
        return f"outside {write_number(lowest)} to {write(highest, unit)}"
    if lowest is not None:
        return f"under {write(lowest, unit)}, the least that is plausible"
    return f"over {write(highest or Fraction(0), unit)}, the most that is plausible"


def _either(suggestions: tuple[Said, ...], unit: str, step: Fraction | None) -> str:
    each = []
    for meant in suggestions:
        also = "" if meant.unit == unit else f", which is {_show(convert_said(meant, unit), step)}"
        each.append(meant.text + also)
    return ", or ".join(each)
