"""The derived characteristics of one job, worked out from the readings that count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from qclog.domain import formula
from qclog.domain.casetypes import Characteristic, Sheet, condition_of_parts, stage_for
from qclog.domain.judging import Verdict, judge


@dataclass(frozen=True, slots=True)
class Result:
    """One derived characteristic at one stage: its value in its own unit and how it stands.

    `value` None: readings it needs are missing, named in `missing`.
    """

    characteristic: Characteristic
    stage: str
    value: float | None
    verdict: Verdict
    missing: tuple[str, ...]


def work_out_all(
    sheet: Sheet, readings: Sequence[dict[str, Any]], parts: Iterable[tuple[str, str | None]]
) -> tuple[Result, ...]:
    """Every derived characteristic at each of its stages, from rows of readings (those that count are used)."""
    middles = {
        (r["characteristic"], r["stage"], r["position"]): middle
        for r in readings
        if r["counts"] and (middle := middle_of(r["low"], r["high"])) is not None
    }
    kinds = list(parts)
    return tuple(
        _result(sheet, characteristic, stage, middles, kinds)
        for characteristic in sheet.derived()
        for stage in characteristic.stages
    )


def middle_of(low: float | None, high: float | None) -> float | None:
    """The middle of an interval, or its one known end; None if neither is known."""
    if low is None or high is None:
        return high if low is None else low
    return (low + high) / 2


def _result(
    sheet: Sheet,
    characteristic: Characteristic,
    stage: str,
    middles: dict[tuple[str, str, str], float],
    parts: Sequence[tuple[str, str | None]],
) -> Result:
    missing: list[str] = []
    value = _value(sheet, characteristic, stage, middles, missing)
    if value != value:  # noqa: PLR0124 - NaN: something it needs is missing
        return Result(characteristic, stage, None, Verdict("not judged"), tuple(dict.fromkeys(missing)))
    condition = condition_of_parts(characteristic, parts)
    verdict = judge(characteristic, stage=stage, condition=condition, low=value, high=value)
    return Result(characteristic, stage, value, verdict, ())


def _value(
    sheet: Sheet,
    characteristic: Characteristic,
    stage: str,
    middles: dict[tuple[str, str, str], float],
    missing: list[str],
) -> float:
    by_code = {c.code: c for c in sheet.characteristics}

    def values_of(name: formula.Name) -> list[float]:
        used = by_code[name.code]
        at = stage_for(name, stage, used)
        if used.derived:
            return [_value(sheet, used, at, middles, missing)]
        places = (name.position,) if name.position is not None else used.positions or ("",)
        values = [middles.get((name.code, at, place), float("nan")) for place in places]
        if all(v != v for v in values):  # noqa: PLR0124 - NaN
            missing.append(f"{used.name} ({at.replace('_', ' ')})")
        return values

    node = formula.parse(characteristic.formula or "")
    base = formula.work_out(node, values_of, lambda code: by_code[code].unit)
    return float(base) / formula.to_base(characteristic.unit)
