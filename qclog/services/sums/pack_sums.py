"""The sum from stand-off to pack, with a job's readings."""

from __future__ import annotations

from qclog.bench import gasket, stand_off
from qclog.bench.answer import TRIAL, Answer, say, say_short
from qclog.bench.estimate import Estimate, Source, propagate
from qclog.bench.packs import Want
from qclog.domain.quantities import units
from qclog.domain.sheets.sums import PackSum
from qclog.errors import InputError, QclogError
from qclog.services.sums.sum_readings import JobReadings, PackWanted, Told

DEFAULT_TOLERANCE_THOU = 0.5


def pack_sum(one: PackSum, readings: JobReadings) -> list[Told]:
    """The pack wanted once the trial is read, and pinch and closure once the final is; nothing before."""
    told = []
    concerns = tuple(c for c in (one.gap, *one.packs, one.gasket) if c)
    for work in (_from_trial, _from_final):
        try:
            found = work(one, readings)
        except QclogError as error:
            found = Told(one, "can't be worked out", characteristics=concerns, problem=error)
        if found is not None:
            told.append(found)
    return told


def _trial_stages(one: PackSum, readings: JobReadings) -> tuple[str, str | None]:
    gap_at = readings.stage_of(one.gap)
    return gap_at, readings.stage_of(one.trial_pack) if one.trial_pack else None


def _from_trial(one: PackSum, readings: JobReadings) -> Told | None:
    gap_at, pack_at = _trial_stages(one, readings)
    if not readings.complete(one.gap, gap_at):
        return None
    if one.trial_pack and pack_at and not readings.complete(one.trial_pack, pack_at):
        return None
    unit = readings.unit(one.gap)
    joint, joint_words = gasket_of(one, readings, unit)
    trial = readings.estimate(one.trial_pack, pack_at, unit) if one.trial_pack and pack_at else stand_off.NO_GASKET
    gap = _gap(one, readings, gap_at, trial.value, unit)
    if one.shim_location == "under_bearing":
        answer = stand_off.pack_under_bearing(trial, gap, pinch=one.wanted, gasket=joint, unit=unit)
    else:
        answer = stand_off.pack_in_joint(gap, pinch=one.wanted, gasket=joint, trial_pack=trial, unit=unit)
    fitted = _fitted(one, readings, unit)
    lines = [answer.sum, *joint_words, _chance_line(one, answer, unit)]
    if fitted is not None:
        lines.append(f"fitted {say(fitted.value, unit)}")
    return Told(
        one,
        f"pack wanted {say_short(answer.value, unit)} {unit}, give or take {say_short(answer.u, unit)}",
        tuple(line for line in lines if line),
        answer,
        wanted_pack(one, answer.value, unit),
        tuple(c for c in (one.caution, _temperature(one, readings, gap_at), TRIAL) if c),
        tuple(c for c in (one.gap, *one.packs, one.gasket) if c),
        fitted=fitted is not None,
    )


def _gap(one: PackSum, readings: JobReadings, stage: str, pack: float, unit: str) -> Estimate:
    if readings.is_open(one.gap, stage):
        if one.shim_location == "under_bearing":
            raise stand_off.flush(pack, unit)
        raise InputError(
            "the joint is closed somewhere, so its gap says nothing",
            field="gap",
            found="no gap",
            hint="seat the bearing, wipe the faces and read again; a cover that rests on its shim needs a thinner one",
        )
    if readings.above(one.gap, stage):
        raise InputError("the gap is larger than the largest leaf", field="gap", hint="add a known leaf and read again")
    return readings.estimate(one.gap, stage, unit)


def gasket_of(one: PackSum, readings: JobReadings, unit: str) -> tuple[Estimate, list[str]]:
    """What lies in the joint when it is down, and its sum in words."""
    thou = float(units.factor("thou", unit))
    if one.sealant:
        return Estimate(gasket.SEALANT.value * thou, gasket.SEALANT.u * thou), [
            "sealant joint: 1 thou, give or take 0.6"
        ]
    crushed = readings.last_stage(one.gasket_crushed) if one.gasket_crushed else None
    if one.gasket_crushed and crushed:
        sample = readings.estimate(one.gasket_crushed, crushed, unit)
        return sample, [f"gasket {say(sample.value, unit)}, as a crushed sample of the lot measures"]
    free, words = None, ""
    if one.gasket:
        stage = readings.last_stage(one.gasket)
        if stage:
            free, words = readings.estimate(one.gasket, stage, unit), "gasket as measured: "
    if free is None:
        nominal = one.gasket_nominal or _nominal(one, readings, unit)
        if nominal is None:
            return stand_off.NO_GASKET, []
        free, words = Estimate(nominal, 0.5 * thou), "gasket not measured yet, as usual: "
    answer = gasket.compressed(free, Estimate(one.crush, one.crush_u if one.crush else 0.0), unit=unit)
    return answer.estimate, [words + answer.sum]


def _nominal(one: PackSum, readings: JobReadings, unit: str) -> float | None:
    if not one.gasket:
        return None
    c = readings.by_code[one.gasket]
    nominal = next((limits.nominal for _, limits in c.limits if limits.nominal is not None), None)
    return None if nominal is None else nominal * float(units.factor(c.unit, unit))


def wanted_pack(one: PackSum, thickness: float, unit: str) -> PackWanted:
    """The pack to choose from stock."""
    choosing = one.choosing
    tolerance = choosing.tolerance or DEFAULT_TOLERANCE_THOU * float(units.factor("thou", unit))
    want = Want(max(0.0, thickness), tolerance, *choosing.leaves, safer=choosing.safer, name=one.name)  # type: ignore[arg-type] # one of its words, checked with the sheet
    return PackWanted(choosing.stock, want, unit, one.final_pack)


def _chance_line(one: PackSum, answer: Answer, unit: str) -> str:
    """The chance that a pack exactly as wanted gives a pinch inside its limits."""
    if one.lower is None and one.upper is None:
        return ""
    pinch = Answer("pinch", one.wanted, answer.u, unit, "", one.lower, one.upper)
    return limits_line(pinch)


def limits_line(answer: Answer) -> str:
    """`chance inside 3 to 5.5: 97 %`, or that it is too close to call."""
    ends = [None if x is None else say(x, answer.unit) for x in (answer.lower, answer.upper)]
    within = f"{ends[0]} to {ends[1]}" if all(ends) else f"at least {ends[0]}" if ends[0] else f"at most {ends[1]}"
    return f"{answer.name} {within}: {chance_text(answer)}" if answer.judged else ""


def chance_text(answer: Answer) -> str:
    """`chance 97 %`, or `chance 60 %: too close to call`."""
    chance = answer.chance_inside or 0.0
    shown = "over 99" if chance > 0.99 else "under 1" if chance < 0.01 else f"{100 * chance:.0f}"
    call = {"too close to call": ": too close to call", "low": ": LOW", "high": ": HIGH"}.get(answer.standing, "")
    return f"chance {shown} %{call}"


def _fitted(one: PackSum, readings: JobReadings, unit: str) -> Estimate | None:
    if one.final_pack and "final" in readings.by_code[one.final_pack].stages:
        return readings.estimate(one.final_pack, "final", unit) if readings.complete(one.final_pack, "final") else None
    return None


def _temperature(one: PackSum, readings: JobReadings, stage: str) -> str:
    from qclog.bench.growth import mixed_targets

    said = readings.conditions(one.gap, stage) & {"cold", "warm"}
    if one.target_at is None or len(said) != 1:
        return ""
    return mixed_targets(one.target_at, said.pop())


def _from_final(one: PackSum, readings: JobReadings) -> Told | None:
    unit = readings.unit(one.gap)
    pack = _fitted(one, readings, unit)
    if pack is None or not one.final_pack:
        return None
    joint, words = gasket_of(one, readings, unit)
    gap_at, pack_at = _trial_stages(one, readings)
    if one.shim_location == "in_joint":
        if not readings.complete(one.gap, gap_at):
            return None
        base = _gap(one, readings, gap_at, 0.0, unit)
        if one.trial_pack and pack_at and readings.complete(one.trial_pack, pack_at):
            trial = readings.estimate(one.trial_pack, pack_at, unit)
            base = Estimate(base.value + trial.value, (base.u**2 + trial.u**2) ** 0.5)
        closure = None
    else:
        if "final" not in readings.by_code[one.gap].stages or not readings.complete(one.gap, "final"):
            return None
        gap = _gap(one, readings, "final", pack.value, unit)
        base = stand_off.recess(pack, gap, unit=unit).estimate
        closure = _closure(one, readings, unit)
    answer = _pinch(one, pack, base, joint, unit)
    lines = [answer.sum, *words, limits_line(answer)]
    cautions: tuple[str, ...] = tuple(c for c in (one.caution, TRIAL) if c)
    if closure is not None:
        good = stand_off.closes(closure)
        verdict = "closes" if good else "DOES NOT CLOSE"
        lines.append(f"closure {closure.sum}: {verdict} (allowed {say(closure.upper or 0.0, unit)})")
        cautions = (*closure.cautions, *cautions)
    what = "pinch" if one.wanted >= 0 else "float"
    shown = answer.value if one.wanted >= 0 else -answer.value
    return Told(
        one,
        f"{what} as fitted {say_short(shown, unit)} {unit}, give or take {say_short(answer.u, unit)}",
        tuple(line for line in lines if line),
        answer,
        cautions=cautions,
        characteristics=tuple(c for c in (one.gap, *one.packs, one.gasket) if c),
        fitted=True,
    )


def _pinch(one: PackSum, pack: Estimate, base: Estimate, joint: Estimate, unit: str) -> Answer:
    """Pinch as fitted. Under a bearing it is the final gap less the gasket: the pack's own error cancels."""
    if one.shim_location == "in_joint":
        return stand_off.pinch_of(
            pack, base, place="in_joint", gasket=joint, lower=one.lower, upper=one.upper, unit=unit
        )
    gap_u = max(0.0, base.u**2 - pack.u**2) ** 0.5
    gap = Estimate(pack.value - base.value, gap_u)
    value = gap.value - joint.value
    less = f" - {say(joint.value, unit)} gasket" if joint.value else ""
    text = f"{say(gap.value, unit)} stand-off{less} = {say(value, unit)}"
    return Answer("pinch", value, (gap.u**2 + joint.u**2) ** 0.5, unit, text, one.lower, one.upper)


def _closure(one: PackSum, readings: JobReadings, unit: str) -> Answer | None:
    """Final recess against trial recess, with what both readings share through one gauge left out."""
    gap_at, pack_at = _trial_stages(one, readings)
    if not one.trial_pack or not one.final_pack or gap_at == "final" or pack_at is None:
        return None
    if not (readings.complete(one.gap, gap_at) and readings.complete(one.trial_pack, pack_at)):
        return None
    if readings.is_open(one.gap, gap_at):
        return None
    parts = [
        (1, readings.sources(one.final_pack, "final", unit)),
        (-1, readings.sources(one.gap, "final", unit)),
        (-1, readings.sources(one.trial_pack, pack_at, unit)),
        (1, readings.sources(one.gap, gap_at, unit)),
    ]
    if not all(sources for _, sources in parts):
        return None
    signs: list[float] = [sign / len(sources) for sign, sources in parts for _ in sources]
    every: list[Source] = [s for _, sources in parts for s in sources]
    difference = propagate(lambda v: sum(f * x for f, x in zip(signs, v, strict=True)), every)
    trial, final = (
        readings.value(one.trial_pack, pack_at, unit) - readings.value(one.gap, gap_at, unit),
        readings.value(one.final_pack, "final", unit) - readings.value(one.gap, "final", unit),
    )
    limit = one.closure_limit or 3 * difference.u
    return stand_off.closure(Estimate(trial), Estimate(final, difference.u), limit=limit or 1.5, unit=unit)
