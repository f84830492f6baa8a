"""Pinion depth: the shim for a new pinion, from marks, gauges or etched dimensions.

Manuals print both "a plus mark adds shim" and "a plus mark takes shim away", in thou and in hundredths of a mm:
sign and unit come from the sheet.
"""

from __future__ import annotations

from typing import Literal

from qclog.bench.answer import TRIAL, Answer, say, say_join
from qclog.bench.estimate import Estimate, combine
from qclog.bench.gate import checked
from qclog.errors import InputError

LARGEST_MARK = 20.0
"""Marks of more than this many thou are taken for a wrong unit; printed tables run to about 4."""
_PATTERN_DECIDES = "The contact pattern decides, not the mark."


@checked
def shim_change(old_mark: float, new_mark: float, sign: Literal[1, -1]) -> float:
    """What the pack changes by, in the unit of the marks: sign x (new - old)."""
    _check_sign(sign)
    return sign * (new_mark - old_mark)


@checked
def pack_from_marks(
    old_pack: Estimate,
    old_mark: float,
    new_mark: float,
    *,
    sign: Literal[1, -1],
    marks_per_unit: float = 1.0,
    unit: str = "thou",
) -> Answer:
    """Pack for the new pinion: old pack + sign x (new mark - old mark).

    marks_per_unit : how many of the marks' unit make one `unit` (0.0254 for marks in mm and shims in thou).
    InputError for a sign that isn't 1 or -1, or a mark so large that its unit must be another.
    """
    if old_pack.value < 0:
        raise InputError("a pack can't be less than nothing", field="old pack", found=old_pack.value)
    if marks_per_unit <= 0:
        raise InputError("a unit has more than none of the marks' unit", field="marks_per_unit", found=marks_per_unit)
    marks = [mark / marks_per_unit for mark in (old_mark, new_mark)]
    for mark in marks:
        if abs(mark) > LARGEST_MARK * (1.0 if unit == "thou" else 0.0254 if unit == "mm" else 1.0):
            raise InputError(
                "a pinion mark is a few thou",
                field="mark",
                found=f"{mark:g} {unit}",
                hint="is it in hundredths of a mm?",
            )
    change = shim_change(marks[0], marks[1], sign)
    result = combine((1, old_pack), (1, Estimate(change)))
    text = (
        f"{say(old_pack.value, unit)} {'+' if sign > 0 else '-'} ({say(marks[1], unit)} new mark "
        f"{say_join(-marks[0], unit)} old mark) = {say(result.value, unit)}"
    )
    return Answer("pinion pack wanted", result.value, result.u, unit, text, cautions=(TRIAL, _PATTERN_DECIDES))


@checked
def pack_from_gauge(gauge: Estimate, mark: float, *, sign: Literal[1, -1], unit: str = "in") -> Answer:
    """Pack from a depth gauge's reading and the mark of the pinion that goes in: reading + sign x mark."""
    _check_sign(sign)
    result = combine((1, gauge), (1, Estimate(sign * mark)))
    text = f"{say(gauge.value, unit)} gauge {say_join(sign * mark, unit)} mark = {say(result.value, unit)}"
    return Answer("pinion pack wanted", result.value, result.u, unit, text, cautions=(TRIAL, _PATTERN_DECIDES))


@checked
def gap_to_case(cone_distance: Estimate, half_case: Estimate, *, unit: str = "in") -> Answer:
    """Feeler gap between pinion end and differential case: etched cone distance less half the case's diameter."""
    result = combine((1, cone_distance), (-1, half_case))
    if result.value <= 0:
        raise InputError(
            "the pinion would touch the case", field="cone distance", found=cone_distance.value, hint="read both again"
        )
    text = f"{say(cone_distance.value, unit)} - {say(half_case.value, unit)} = {say(result.value, unit)}"
    return Answer("pinion gap", result.value, result.u, unit, text)


@checked
def pack_from_head_heights(old_pack: Estimate, old_head: Estimate, new_head: Estimate, *, unit: str = "thou") -> Answer:
    """Pack when no mark can be read: a head that is taller needs that much less shim behind it."""
    result = combine((1, old_pack), (1, old_head), (-1, new_head))
    text = (
        f"{say(old_pack.value, unit)} + ({say(old_head.value, unit)} old head - {say(new_head.value, unit)} new head)"
        f" = {say(result.value, unit)}"
    )
    return Answer("pinion pack wanted", result.value, result.u, unit, text, cautions=(TRIAL, _PATTERN_DECIDES))


@checked
def pack_from_dimensions(plus: dict[str, Estimate], minus: dict[str, Estimate], *, unit: str = "in") -> Answer:
    """Pack from stamped and etched dimensions: what stretches from the wheel's axis less what fills it, by name."""
    if not plus:
        raise InputError("a sum needs a dimension to begin with", field="plus")
    result = combine(*((1, e) for e in plus.values()), *((-1, e) for e in minus.values()))
    first = " + ".join(f"{say(e.value, unit)} {name}" for name, e in plus.items())
    rest = "".join(f" - {say(e.value, unit)} {name}" for name, e in minus.items())
    if result.value < 0:
        raise InputError("the dimensions leave no room for a shim", field="dimensions", found=f"{first}{rest}")
    return Answer("pinion pack wanted", result.value, result.u, unit, f"{first}{rest} = {say(result.value, unit)}")


def _check_sign(sign: int) -> None:
    if sign not in (1, -1):
        raise InputError("a mark's sign is 1 or -1", field="sign", found=sign, hint="1: a plus mark adds shim")
