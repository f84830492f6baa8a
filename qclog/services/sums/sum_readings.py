"""The readings of a job as the sums of the bench take them: estimates in one unit, complete or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from qclog.bench.answer import Answer
from qclog.bench.estimate import Estimate, Source, mean_of_sources
from qclog.bench.packs import Want
from qclog.domain import stored
from qclog.domain.jobs import STAGES
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Characteristic, condition_of_parts
from qclog.domain.sheets.sums import AnySum
from qclog.errors import QclogError
from qclog.measures.results import source_of_row
from qclog.services.jobs.jobs import Story


@dataclass(frozen=True, slots=True)
class PackWanted:
    """A pack that a sum asks for: from which stock set, for which characteristic, in which unit; None: no set named."""

    stock_set: str | None
    want: Want
    unit: str
    pack: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """What one sum says of one job.

    headline : the result in a few words. lines : sums to check by hand and what to fit. answer : the value behind the
    headline, None for words. wanted : the pack to choose. characteristics : what it concerns, for the bench page.
    problem : why it can't be worked out though its readings are in.
    """

    sum: AnySum
    headline: str
    lines: tuple[str, ...] = ()
    answer: Answer | None = None
    wanted: PackWanted | None = None
    cautions: tuple[str, ...] = ()
    characteristics: tuple[str, ...] = ()
    problem: QclogError | None = None
    fitted: bool = False
    extra: tuple[PackWanted, ...] = field(default=())


class JobReadings:
    """The readings of one job that count."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.by_code = {c.code: c for c in story.sheet.characteristics}
        self._rows: dict[tuple[str, str], list[stored.JobReading]] = {}
        for told in story.readings:
            if told.row.counts:
                self._rows.setdefault((told.row.characteristic, told.row.stage), []).append(told.row)
        self._derived = {(d.characteristic.code, d.stage): d for d in story.derived if d.value is not None}

    def unit(self, code: str) -> str:
        """The unit of a characteristic."""
        return self.by_code[code].unit

    def rows(self, code: str, stage: str) -> list[stored.JobReading]:
        """The readings that count at one stage, in the order of the sheet's positions."""
        order = self.by_code[code].positions
        found = self._rows.get((code, stage), [])
        return sorted(found, key=lambda r: order.index(r.position) if r.position in order else -1)

    def complete(self, code: str, stage: str) -> bool:
        """Whether every position has a reading (or a reason why not), and at least one a value."""
        c = self.by_code[code]
        if c.derived:
            return (code, stage) in self._derived
        rows = self.rows(code, stage)
        has_value = any(r.low is not None or r.high is not None for r in rows)
        return has_value and {r.position for r in rows} >= set(c.positions or ("",))

    def last_stage(self, *codes: str, stages: Sequence[str] = ("final", "trial", "as_found")) -> str | None:
        """The latest stage at which all of them are complete."""
        return next((s for s in stages if all(self.complete(code, s) for code in codes)), None)

    def stage_of(self, code: str, preferred: str = "trial") -> str:
        """The stage a reading is taken at: the preferred one if the sheet has it, else its nearest earlier or first."""
        stages = self.by_code[code].stages
        if preferred in stages:
            return preferred
        earlier = [s for s in stages if STAGES.index(s) < STAGES.index(preferred)]
        return max(earlier, key=STAGES.index) if earlier else stages[0]

    def sources(self, code: str, stage: str, unit: str) -> list[Source]:
        """Each position as a source of uncertainty, in `unit`. InputError for one open on a side."""
        c = self.by_code[code]
        factor = float(units.factor(c.unit, unit))
        found = []
        for row in self.rows(code, stage):
            if row.low is None and row.high is None:
                continue
            source = source_of_row(row, c)
            if source is not None:
                found.append(Source(source.value * factor, source.own * factor, source.shared * factor, source.group))
        return found

    def estimate(self, code: str, stage: str, unit: str) -> Estimate:
        """The mean over positions, or the derived value, in `unit`."""
        derived = self._derived.get((code, stage))
        if derived is not None and derived.value is not None:
            factor = float(units.factor(self.by_code[code].unit, unit))
            return Estimate(derived.value * factor, (derived.u or 0.0) * abs(factor))
        return mean_of_sources(self.sources(code, stage, unit))

    def value(self, code: str, stage: str, unit: str) -> float:
        """The same without its uncertainty."""
        return self.estimate(code, stage, unit).value

    def is_open(self, code: str, stage: str) -> bool:
        """Whether no leaf entered somewhere, or nothing at all was read as 0."""
        return any(r.kind == "below" or r.high == 0 for r in self.rows(code, stage))

    def above(self, code: str, stage: str) -> bool:
        """Whether the largest leaf entered somewhere, so that the gap is larger than could be read."""
        return any(r.kind == "above" for r in self.rows(code, stage))

    def words(self, code: str, stage: str) -> str | None:
        """What was said of a characteristic in words."""
        return next((r.word for r in self.rows(code, stage) if r.word), None)

    def conditions(self, code: str, stage: str) -> set[str]:
        """Every condition recorded with its readings."""
        return {word for r in self.rows(code, stage) for word in (r.conditions or "").split()}

    def reused(self, c: Characteristic) -> bool:
        """Whether the parts it depends on were fitted re-used."""
        parts = [(p.part, p.condition) for p in self.story.parts]
        return condition_of_parts(c, parts) == "reused"

    def reused_known(self, c: Characteristic) -> bool:
        """Whether the job's parts say whether they are new or re-used."""
        return any(p.part in c.parts and p.condition for p in self.story.parts)
