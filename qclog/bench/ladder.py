"""A ladder of selective shims: which size of a graded set belongs to a measured dimension."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qclog.bench.gate import checked
from qclog.errors import InputError


@dataclass(frozen=True, slots=True)
class Rung:
    """One size: its mark, and the dimensions it is for, both ends included."""

    mark: str
    low: float
    high: float


@checked
def rungs(marks: Sequence[str], first: float, width: float, step: float) -> tuple[Rung, ...]:
    """A regular ladder: each rung `width` wide and the next beginning `step` above the last one's low end."""
    if not (0 < width <= step):
        raise InputError("a rung has a width, and the next begins after it", field="width", found=width)
    return tuple(Rung(m, round(first + i * step, 9), round(first + i * step + width, 9)) for i, m in enumerate(marks))


@checked
def choose_rung(value: float, ladder: Sequence[Rung], *, resolution: float) -> Rung:
    """The rung that holds `value`, rounded to the ladder's `resolution` first so that no value falls between rungs.

    InputError below the first rung or above the last.
    """
    if resolution <= 0:
        raise InputError("a ladder is read to something above 0", field="resolution", found=resolution)
    if not ladder:
        raise InputError("a ladder has one size or more", field="ladder", found="none")
    shown = round(round(value / resolution) * resolution, 9)
    for rung in ladder:
        if rung.low - resolution / 1e3 <= shown <= rung.high + resolution / 1e3:
            return rung
    lowest, highest = min(r.low for r in ladder), max(r.high for r in ladder)
    raise InputError(
        "no size of the ladder is for this dimension",
        field="dimension",
        found=value,
        hint=f"the ladder runs from {lowest:g} to {highest:g}; measure again",
    )
