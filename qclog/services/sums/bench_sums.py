"""The sums of the bench for one job, and packs from stock for what they want."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qclog.bench import mesh, torque
from qclog.bench.answer import Answer, say
from qclog.bench.packs import Choice, Leaf, Want, choose_pack
from qclog.domain.quantities import units
from qclog.domain.sheets.sums import AnySum, FitSum, GrowthSum, PackSum, PatternSum, PinionSum, SideShimSum, TorqueSum
from qclog.errors import QclogError
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.services.keeping.stock import Stocked, list_stock
from qclog.services.sums import gear_sums, other_sums, pack_sums
from qclog.services.sums.learning import Learned, learn
from qclog.services.sums.other_sums import faces
from qclog.services.sums.sum_readings import JobReadings, PackWanted, Told
from qclog.store.log import Log

if TYPE_CHECKING:
    from qclog.bench.many_packs import Together


@dataclass(frozen=True, slots=True)
class FaceTold:
    """What the spread round a face says, and of which characteristic and stage."""

    characteristic: str
    name: str
    stage: str
    text: str
    explained: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """What a stock set can do for a pack that is wanted. choice None: `why` says why there is none.

    unit : the stock's. pinch : what the pack would give, with its chance, for a stand-off sum.
    """

    wanted: PackWanted
    choice: Choice | None
    unit: str
    why: str = ""
    pinch: Answer | None = None

    @property
    def text(self) -> str:
        """One line: what to fit, from which set."""
        if self.choice is None:
            return self.why
        named = f"{self.wanted.want.name}: " if self.wanted.want.name in ("wheel side", "far side") else ""
        return f"{named}{self.choice.sentence(self.unit)} (set {self.wanted.stock_set})"


def tell_sums(story: Story, learned: Learned | None = None) -> tuple[Told, ...]:
    """Every sum of the job's sheet whose readings are in."""
    readings = JobReadings(story)
    told: list[Told] = []
    for one in story.sheet.sums:
        if one.applies_to(story.job.variant):
            told += _tell(one, readings, (learned or {}).get(one.code))
    return tuple(told)


def _tell(one: AnySum, readings: JobReadings, learned: mesh.Factor | torque.Slope | None) -> list[Told]:
    found: list[Told] = []
    match one:
        case PackSum():
            found = pack_sums.pack_sum(one, readings)
        case SideShimSum():
            found = gear_sums.side_shim_sum(one, readings, learned if isinstance(learned, mesh.Factor) else None)
        case PinionSum():
            found = gear_sums.pinion_sum(one, readings)
        case PatternSum():
            found = gear_sums.pattern_sum(one, readings)
        case GrowthSum():
            found = other_sums.growth_sum(one, readings)
        case FitSum():
            found = other_sums.fit_sum(one, readings)
        case TorqueSum():
            found = other_sums.torque_sum(one, readings, learned if isinstance(learned, torque.Slope) else None)
    return found


def can_use_learned(story: Story) -> bool:
    """Whether a sum that is worked out now would use what the log teaches."""
    readings = JobReadings(story)
    asked = [one.torque if isinstance(one, TorqueSum) else one.backlash
             for one in story.sheet.sums if isinstance(one, TorqueSum | SideShimSum)]  # fmt: skip
    return any(readings.last_stage(code, stages=("final", "trial")) for code in asked)


def read_sums(log: Log, story: Story) -> tuple[Told, ...]:
    """The same with what the case type's own log teaches."""
    return tell_sums(story, learn(log, story.sheet) if can_use_learned(story) else {})


SumsOfJob = tuple[tuple[Told, ...], dict[int, tuple[Fit, ...]], tuple[FaceTold, ...]]


def tell_job(
    log: Log, job: str
) -> tuple[Story, tuple[tuple[Told, ...], dict[int, tuple[Fit, ...]], tuple[FaceTold, ...]]]:
    """A job's story with its sums, the packs for them and what its faces say, as they are at one moment."""
    with log.reading():
        story = jobs.tell(log, job)
        told = read_sums(log, story)
        fits = fits_for(log, told)
    return story, (told, fits, tell_faces(story))


def tell_faces(story: Story) -> tuple[FaceTold, ...]:
    """What readings round a face say: out of true, one spot, or no more than the gauge explains."""
    return tuple(
        FaceTold(c.code, c.name, stage, read.sum, read.explained) for c, stage, read in faces(JobReadings(story))
    )


def fits_for(log: Log, told: Sequence[Told]) -> dict[int, tuple[Fit, ...]]:
    """For each sum that wants a pack (by its place in `told`) and has none fitted: what its stock set gives.

    Packs of one sum (left and right of a carrier) are chosen together from one drawer.
    """
    wanting = {i: (t.wanted, *t.extra) for i, t in enumerate(told) if t.wanted is not None and not t.fitted}
    if not wanting:
        return {}
    stock = list_stock(log)
    result = {}
    for i, wanted in wanting.items():
        mine = [w for w in wanted if w is not None]
        result[i] = _fit(mine, stock, [told[i]] * len(mine))
    return result


def fits_together(log: Log, told: Sequence[Sequence[Told]]) -> list[dict[int, tuple[Fit, ...]]]:
    """The same for several jobs: packs from one stock set are chosen together, so that no leaf is promised twice."""
    if len(told) == 1:
        return [fits_for(log, told[0])]
    stock = list_stock(log)
    result: list[dict[int, tuple[Fit, ...]]] = [{} for _ in told]
    by_set: dict[str, list[tuple[int, int, PackWanted]]] = {}
    for j, sums in enumerate(told):
        for i, one in enumerate(sums):
            for wanted in (one.wanted, *one.extra) if not one.fitted else ():
                if wanted is not None and wanted.stock_set is not None:
                    by_set.setdefault(wanted.stock_set, []).append((j, i, wanted))
    for wanting in by_set.values():
        fits = _fit([wanted for _, _, wanted in wanting], stock, [told[j][i] for j, i, _ in wanting])
        for (j, i, _), fit in zip(wanting, fits, strict=True):
            result[j][i] = (*result[j].get(i, ()), fit)
    return result


def drawer_of(stock: Sequence[Stocked], stock_set: str) -> tuple[tuple[Leaf, ...], str]:
    """The leaves of a set, and their unit ('' for a set that isn't there)."""
    mine = [s for s in stock if s.size.stock_set == stock_set]
    return tuple(s.leaf for s in mine), mine[0].size.unit if mine else ""


def in_unit(wanted: PackWanted, unit: str) -> Want:
    """The want in another unit, such as the stock's."""
    factor = float(units.factor(wanted.unit, unit))
    want = wanted.want
    return Want(want.thickness * factor, want.tolerance * factor, want.least, want.most, want.safer, want.name)


def _fit(wanted: Sequence[PackWanted], stock: Sequence[Stocked], told: Sequence[Told]) -> tuple[Fit, ...]:
    stock_set = wanted[0].stock_set
    if stock_set is None:
        return ()
    leaves, unit = drawer_of(stock, stock_set)
    if not leaves:
        why = f"the stock set {stock_set} is not in the log yet: qclog stock add {stock_set} SIZE --count N"
        return tuple(Fit(w, None, w.unit, why) for w in wanted)
    wants = [in_unit(w, unit) for w in wanted]
    try:
        choices = _choose(leaves, wants, told)
    except QclogError as error:
        return tuple(Fit(w, None, unit, str(error)) for w in wanted)
    return tuple(Fit(w, c, unit, "", _pinch(t, c, unit)) for w, c, t in zip(wanted, choices, told, strict=True))


def _choose(leaves: Sequence[Leaf], wants: Sequence[Want], told: Sequence[Told]) -> Sequence[Choice]:
    if len(wants) == 1:
        return [choose_pack(leaves, wants[0])]
    from qclog.bench.many_packs import choose_packs

    return choose_packs(leaves, wants, _pairs(wants, told)).choices


def _pairs(wants: Sequence[Want], told: Sequence[Told]) -> list[Together]:
    """Packs of one sum add up to its total: the preload of a carrier."""
    from qclog.bench.many_packs import Together

    groups: dict[int, list[int]] = {}
    for i, one in enumerate(told):
        groups.setdefault(id(one), []).append(i)
    return [
        Together(tuple(group), sum(wants[i].thickness for i in group), wants[group[0]].tolerance)
        for group in groups.values()
        if len(group) > 1
    ]


def _pinch(told: Told, choice: Choice, unit: str) -> Answer | None:
    """What pinch the suggested pack would give, inside the limits of its sum."""
    one, pack = told.sum, choice.suggested
    if not isinstance(one, PackSum) or pack is None or told.answer is None:
        return None
    factor = float(units.factor(unit, told.answer.unit))
    off = pack.total * factor - told.answer.value
    pinch = one.wanted + (off if one.shim_location == "under_bearing" else -off)
    thou = float(units.factor("thou", told.answer.unit))
    u = (told.answer.u**2 + pack.u(0.2 * thou) ** 2) ** 0.5
    text = f"{say(one.wanted, told.answer.unit)} wanted, {say(pinch, told.answer.unit)} with this pack"
    return Answer("pinch", pinch, u, told.answer.unit, text, one.lower, one.upper)
