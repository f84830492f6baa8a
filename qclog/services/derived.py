"""The derived characteristics of one job, worked out from the readings that count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from qclog.bench.answer import CLOSE
from qclog.bench.answer import stand as stand_of
from qclog.bench.estimate import Estimate, Source, chance_between, propagate
from qclog.bench.uncertainty import source_of
from qclog.domain import formula
from qclog.domain.casetypes import Characteristic, Sheet, condition_of_parts, stage_for
from qclog.domain.judging import Verdict, judge


@dataclass(frozen=True, slots=True)
class Result:
    """One derived characteristic at one stage: its value in its own unit and how it stands.

    `value` None: readings it needs are missing, named in `missing`. `u`: its standard uncertainty from those of its
    readings; None when one of them is open on a side.
    """

    characteristic: Characteristic
    stage: str
    value: float | None
    verdict: Verdict
    missing: tuple[str, ...]
    u: float | None = None

    @property
    def chance_inside(self) -> float | None:
        """The chance that the true value is inside the limits; None where nothing is judged or u is not known."""
        limits = self.verdict.limits
        if self.value is None or self.u is None or limits is None or (limits.lower is None and limits.upper is None):
            return None
        return chance_between(Estimate(self.value, self.u), limits.lower, limits.upper)

    @property
    def too_close(self) -> bool:
        """Whether its uncertainty leaves it open on which side of a limit it is."""
        limits = self.verdict.limits
        if self.chance_inside is None or self.value is None or self.u is None or limits is None:
            return False
        return stand_of(Estimate(self.value, self.u), limits.lower, limits.upper) == CLOSE


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
    sources = _sources(sheet, readings)
    return tuple(
        _result(sheet, characteristic, stage, middles, kinds, sources)
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
    sources: dict[Key, Source | None],
) -> Result:
    missing: list[str] = []
    value = _value(sheet, characteristic, stage, middles, missing)
    if value != value:  # noqa: PLR0124 - NaN: something it needs is missing
        return Result(characteristic, stage, None, Verdict("not judged"), tuple(dict.fromkeys(missing)))
    condition = condition_of_parts(characteristic, parts)
    verdict = judge(characteristic, stage=stage, condition=condition, low=value, high=value)
    return Result(
        characteristic, stage, value, verdict, (), _uncertainty(sheet, characteristic, stage, middles, sources)
    )


Key = tuple[str, str, str]


def _sources(sheet: Sheet, readings: Sequence[dict[str, Any]]) -> dict[Key, Source | None]:
    """Each reading that counts as a source of uncertainty; None where it is open on a side."""
    by_code = {c.code: c for c in sheet.characteristics}
    found: dict[Key, Source | None] = {}
    for r in readings:
        c = by_code.get(r["characteristic"])
        if r["counts"] and c is not None and (r["low"] is not None or r["high"] is not None):
            found[(c.code, r["stage"], r["position"])] = source_of_row(r, c)
    return found


def source_of_row(row: dict[str, Any], c: Characteristic) -> Source | None:
    """A reading of the log as a source of uncertainty; None where it is open on a side."""
    if row["low"] is None or row["high"] is None:
        return None
    return source_of(row["low"], row["high"], kind=c.gauge_kind, step=c.step, unit=c.unit, group=row["gauge"])


def _uncertainty(
    sheet: Sheet,
    characteristic: Characteristic,
    stage: str,
    middles: dict[Key, float],
    sources: dict[Key, Source | None],
) -> float | None:
    used = sorted(_keys_used(sheet, characteristic, stage) & middles.keys())
    known = [s for key in used if (s := sources.get(key)) is not None]
    if len(known) < len(used):
        return None

    def again(values: Sequence[float]) -> float:
        return _value(sheet, characteristic, stage, dict(zip(used, values, strict=True)), [])

    return propagate(again, known).u


@lru_cache(maxsize=2000)
def _parsed(text: str) -> formula.Node:
    return formula.parse(text)


def _keys_used(sheet: Sheet, characteristic: Characteristic, stage: str) -> set[Key]:
    """The places whose readings the formula rests on, all the way down."""
    found: set[Key] = set()
    for name in formula.names(_parsed(characteristic.formula or "")):
        used = sheet.characteristic(name.code)
        at = stage_for(name, stage, used)
        if used.derived:
            found |= _keys_used(sheet, used, at)
        else:
            places = (name.position,) if name.position is not None else used.positions or ("",)
            found |= {(used.code, at, place) for place in places}
    return found


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

    node = _parsed(characteristic.formula or "")
    base = formula.work_out(node, values_of, lambda code: by_code[code].unit)
    return float(base) / formula.to_base(characteristic.unit)
