"""What a characteristic is worth in a unit, from its readings: over its positions, or by its formula.

One way for one job and for a whole series: the readings are ranges of floats, or ranges of arrays with one value for
each unit (`qclog.domain.sheets.ranges`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from qclog.domain.sheets import formula
from qclog.domain.sheets.casetypes import Characteristic, Sheet, stage_for
from qclog.domain.sheets.ranges import Range, across

Key = tuple[str, str, str]
"""A characteristic's code, a stage and a position."""


NOTHING = Range(math.nan, math.nan)
"""Where nothing was read."""


def value_at(
    sheet: Sheet,
    characteristic: Characteristic,
    stage: str,
    readings: Mapping[Key, Range],
    nothing: Range = NOTHING,
) -> Range:
    """The characteristic at `stage`, in its own unit, from `readings` in theirs; NaN where what it needs is missing.

    A bracket's middle is taken for it by whoever makes `readings` (see `intervals.as_number`); an open end stays open.
    `nothing` stands for a place without a reading: for arrays, arrays of NaN.
    """
    if not characteristic.derived:
        code = characteristic.code
        places = {p: readings.get((code, stage, p), nothing) for p in characteristic.positions or ("",)}
        return over_places(characteristic, places)
    by_code = {c.code: c for c in sheet.characteristics}

    def values_of(name: formula.Name) -> list[Range]:
        used = by_code[name.code]
        at = stage_for(name, stage, used)
        if used.derived:
            return [value_at(sheet, used, at, readings, nothing)]
        return [readings.get((used.code, at, place), nothing) for place in _places_of(name, used)]

    base: Any = formula.work_out(parsed(characteristic.formula or ""), values_of, lambda code: by_code[code].unit)
    found = base if isinstance(base, Range) else Range(base, base)
    return found / formula.to_base(characteristic.unit)


def over_places(characteristic: Characteristic, places: Mapping[str, Range]) -> Range:
    """What readings at the places of a read characteristic, in their order, amount to by its sheet: their mean ..."""
    return across(characteristic.over_positions, list(places.values()))


def keys_used(sheet: Sheet, characteristic: Characteristic, stage: str) -> set[Key]:
    """The places whose readings a derived characteristic rests on at `stage`, all the way down."""
    found: set[Key] = set()
    for name in formula.names(parsed(characteristic.formula or "")):
        used = sheet.characteristic(name.code)
        at = stage_for(name, stage, used)
        if used.derived:
            found |= keys_used(sheet, used, at)
        else:
            found |= {(used.code, at, place) for place in _places_of(name, used)}
    return found


def missing_in(sheet: Sheet, characteristic: Characteristic, stage: str, readings: Mapping[Key, Range]) -> list[str]:
    """What a derived characteristic needs at `stage` and has no reading of, in words."""
    told: dict[str, None] = {}
    for name in formula.names(parsed(characteristic.formula or "")):
        used = sheet.characteristic(name.code)
        at = stage_for(name, stage, used)
        if used.derived:
            told |= dict.fromkeys(missing_in(sheet, used, at, readings))
        elif not any((used.code, at, place) in readings for place in _places_of(name, used)):
            told[f"{used.name} ({at.replace('_', ' ')})"] = None
    return list(told)


def codes_needed(sheet: Sheet, characteristic: Characteristic) -> set[str]:
    """The read characteristics that `characteristic` rests on: itself, or what its formula uses, all the way down."""
    if not characteristic.derived:
        return {characteristic.code}
    found: set[str] = set()
    for name in formula.names(parsed(characteristic.formula or "")):
        found |= codes_needed(sheet, sheet.characteristic(name.code))
    return found


@lru_cache(maxsize=2000)
def parsed(text: str) -> formula.Node:
    """A formula, read once."""
    return formula.parse(text)


def _places_of(name: formula.Name, used: Characteristic) -> tuple[str, ...]:
    return (name.position,) if name.position is not None else used.positions or ("",)
