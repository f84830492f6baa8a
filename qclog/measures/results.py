"""What one job's readings amount to: derived characteristics, and those that are judged over all positions together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from qclog.bench.answer import stand as stand_of
from qclog.bench.estimate import Estimate, Source, chance_between, propagate
from qclog.bench.uncertainty import source_of
from qclog.domain import stored
from qclog.domain.sheets.casetypes import Characteristic, Sheet, condition_of_parts
from qclog.domain.sheets.ranges import Range
from qclog.measures.derivation import Key, keys_used, missing_in, value_at
from qclog.measures.intervals import as_ends, as_number, as_range, ends_of
from qclog.measures.judging import CLOSE, NOT_JUDGED, Verdict, judge


@dataclass(frozen=True, slots=True)
class Result:
    """What is worked out of one characteristic at one stage, in its own unit, and how it stands.

    `value`: the number, with brackets at their middles; None where a reading it rests on is open on a side (no leaf
    enters), or missing, which `missing` names. `low` and `high`: what is known of it, None where open; the number
    itself for what is worked out. `u`: the standard uncertainty of the number; None where it is not known.
    """

    characteristic: Characteristic
    stage: str
    value: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    missing: tuple[str, ...]
    u: float | None = None

    @property
    def known(self) -> bool:
        """Whether anything is known of it."""
        return self.low is not None or self.high is not None

    @property
    def chance_inside(self) -> float | None:
        """The chance that the true value is inside the limits; None where nothing is judged or u is not known."""
        limits = self.verdict.limits
        if self.value is None or self.u is None or limits is None or (limits.lower is None and limits.upper is None):
            return None
        return chance_between(Estimate(self.value, self.u), limits.lower, limits.upper)

    @property
    def too_close(self) -> bool:
        """Whether its uncertainty, or an open side, leaves it open on which side of a limit it is."""
        limits = self.verdict.limits
        if self.chance_inside is None or self.value is None or self.u is None or limits is None:
            return self.verdict.result == CLOSE
        return stand_of(Estimate(self.value, self.u), limits.lower, limits.upper) == CLOSE


def work_out_all(
    sheet: Sheet, readings: Sequence[stored.JobReading], parts: Iterable[tuple[str, str | None]]
) -> tuple[Result, ...]:
    """Every derived characteristic at each of its stages, and every one judged over all its positions, once read.

    `readings` are rows of the log, of which those that count are used; `parts` are (kind, condition).
    """
    counting = [r for r in readings if r.counts]
    job = _Job(sheet, _ranges(counting, as_range), _ranges(counting, as_ends), _sources(sheet, counting), tuple(parts))
    whole = (c for c in sheet.characteristics if c.judged_whole and not c.derived)
    return tuple(
        result
        for characteristic in (*whole, *sheet.derived())
        for stage in characteristic.stages
        if (result := job.result(characteristic, stage)) is not None
    )


@dataclass(frozen=True, slots=True)
class _Job:
    sheet: Sheet
    numbers: Mapping[Key, Range]
    ends: Mapping[Key, Range]
    sources: Mapping[Key, Source | None]
    parts: tuple[tuple[str, str | None], ...]

    def result(self, c: Characteristic, stage: str) -> Result | None:
        """None for a characteristic that is read and not yet read at every position."""
        if not c.derived and not all((c.code, stage, place) in self.ends for place in c.positions):
            return None
        number = ends_of(value_at(self.sheet, c, stage, self.numbers))
        low, high = number if c.derived else ends_of(value_at(self.sheet, c, stage, self.ends))
        if low is None and high is None:
            missing = missing_in(self.sheet, c, stage, self.numbers) if c.derived else ()
            return Result(c, stage, None, None, None, Verdict(NOT_JUDGED), tuple(missing))
        condition = condition_of_parts(c, self.parts)
        verdict = judge(c, stage=stage, condition=condition, low=low, high=high)
        value = as_number(*number) if number[0] == number[1] else None
        return Result(c, stage, value, low, high, verdict, (), None if value is None else self._uncertainty(c, stage))

    def _uncertainty(self, c: Characteristic, stage: str) -> float | None:
        used = self._keys(c, stage)
        known = [s for key in used if (s := self.sources.get(key)) is not None]
        if not used or len(known) < len(used):
            return None

        def again(values: Sequence[float]) -> float:
            worth = value_at(self.sheet, c, stage, {k: Range(v, v) for k, v in zip(used, values, strict=True)})
            return float(worth.low)

        return propagate(again, known).u

    def _keys(self, c: Characteristic, stage: str) -> list[Key]:
        keys = keys_used(self.sheet, c, stage) if c.derived else {(c.code, stage, p) for p in c.positions}
        return sorted(keys & self.numbers.keys())


def _ranges(
    counting: Sequence[stored.JobReading], worth_of: Callable[[float | None, float | None], Range | None]
) -> dict[Key, Range]:
    return {
        (r.characteristic, r.stage, r.position): worth
        for r in counting
        if (worth := worth_of(r.low, r.high)) is not None
    }


def _sources(sheet: Sheet, counting: Sequence[stored.JobReading]) -> dict[Key, Source | None]:
    """Each reading as a source of uncertainty; None where it is open on a side."""
    by_code = {c.code: c for c in sheet.characteristics}
    found: dict[Key, Source | None] = {}
    for r in counting:
        c = by_code.get(r.characteristic)
        if c is not None and (r.low is not None or r.high is not None):
            found[(c.code, r.stage, r.position)] = source_of_row(r, c)
    return found


def source_of_row(row: stored.JobReading, c: Characteristic) -> Source | None:
    """A reading of the log as a source of uncertainty; None where it is open on a side."""
    if row.low is None or row.high is None:
        return None
    return source_of(row.low, row.high, kind=c.gauge_kind, step=c.step, unit=c.unit, group=row.gauge)
