"""Side shims, pinion pack and contact pattern, with a job's readings."""

from __future__ import annotations

from qclog.bench import mesh, pattern, pinion
from qclog.bench.answer import TRIAL, say, say_short
from qclog.bench.packs import Want
from qclog.domain.quantities import units
from qclog.domain.sheets.sums import PatternSum, PinionSum, SideShimSum
from qclog.errors import InputError, QclogError
from qclog.services.sums.pack_sums import DEFAULT_TOLERANCE_THOU
from qclog.services.sums.sum_readings import JobReadings, PackWanted, Told


def side_shim_sum(one: SideShimSum, readings: JobReadings, learned: mesh.Factor | None) -> list[Told]:
    """The carrier's total once no play is found; the move of the wheel once backlash and side shims are read."""
    found = (_total(one, readings), _move(one, readings, learned))
    return [told for told in found if told is not None]


def _concerns(one: SideShimSum) -> tuple[str, ...]:
    return tuple(c for c in (one.backlash, one.wheel_side, one.far_side, one.zero_play) if c)


def _total(one: SideShimSum, readings: JobReadings) -> Told | None:
    if one.zero_play is None or one.each_side is None:
        return None
    stage = readings.stage_of(one.zero_play)
    if not readings.complete(one.zero_play, stage):
        return None
    unit = readings.unit(one.wheel_side)
    answer = mesh.carrier_total(readings.estimate(one.zero_play, stage, unit), one.each_side, unit=unit)
    fitted = readings.complete(one.wheel_side, "final") and readings.complete(one.far_side, "final")
    lines = [answer.sum]
    if fitted:
        total = readings.value(one.wheel_side, "final", unit) + readings.value(one.far_side, "final", unit)
        lines.append(f"fitted {say(total, unit)} in total, {say(total - answer.value, unit)} off")
    return Told(
        one,
        f"side shims in total {say_short(answer.value, unit)} {unit}, give or take {say_short(answer.u, unit)}",
        tuple(lines),
        answer,
        cautions=tuple(c for c in (one.caution, TRIAL) if c),
        characteristics=_concerns(one),
        fitted=fitted,
    )


def factor_of(one: SideShimSum, learned: mesh.Factor | None) -> tuple[mesh.Factor, str]:
    """The backlash factor to use, and what is to be said of it: the log's own pairs when they make sense."""
    if one.factor is not None:
        own = mesh.given_factor(one.factor)
    else:
        value = mesh.backlash_factor(
            one.gear_teeth or 1, one.pinion_teeth or 1, pressure_angle=one.pressure_angle, spiral_angle=one.spiral_angle
        )
        own = mesh.Factor(value, 0.05 * value, 0.9 * value, 1.1 * value, 0, "from the teeth and angles")
    if learned is None:
        return own, f"factor {own.value:.2f}, {own.source}"
    said = f"factor {learned.value:.2f} ({learned.low:.2f} to {learned.high:.2f}), {learned.source}"
    if learned.low > 0 and 0.2 < learned.value < 1.5:
        return learned, said
    return own, f"factor {own.value:.2f}, {own.source}; {said}: not used, it makes no sense or is too wide"


def _move(one: SideShimSum, readings: JobReadings, learned: mesh.Factor | None) -> Told | None:
    stage = readings.last_stage(one.backlash, one.wheel_side, one.far_side)
    if stage is None:
        return None
    backlash = readings.by_code[one.backlash]
    limits = backlash.limit_set("final", "reused" if readings.reused(backlash) else "new")
    nominal = limits[1].nominal if limits else None
    unit = readings.unit(one.wheel_side)
    if nominal is None or (stage == "as_found" and not readings.reused_known(backlash)):
        return None
    as_found = readings.value(one.backlash, "as_found", backlash.unit) if _has_found(one, readings) else None
    try:
        target, why = mesh.backlash_target(nominal, reused=readings.reused(backlash), as_found=as_found)
        if stage == "as_found":
            return None  # the sum would only say what was found
        factor, said = factor_of(one, learned)
        to_shim = float(units.factor(backlash.unit, unit))
        read = readings.estimate(one.backlash, stage, unit)
        answer = mesh.wheel_move(read, target * to_shim, factor, unit=unit)
        moved = mesh.move_side_shims(
            readings.value(one.wheel_side, stage, unit),
            readings.value(one.far_side, stage, unit),
            answer.value,
            plus_side=one.plus_side,  # type: ignore[arg-type] # one of its words, checked with the sheet
            unit=unit,
        )
    except QclogError as error:
        return Told(one, "can't be worked out", characteristics=_concerns(one), problem=error)
    variation = _variation(one, readings, stage)
    lines = [
        f"backlash wanted {say(target, backlash.unit)} {backlash.unit}: {why}",
        answer.sum,
        said,
        moved.sum,
        variation,
    ]
    enough = limits is not None and _inside(readings, one.backlash, stage, target, limits[1].lower, limits[1].upper)
    close = abs(answer.value) <= max(answer.u, (one.choosing.tolerance or 0.0))
    headline = (
        f"backlash {say_short(read.value / to_shim, backlash.unit)} {backlash.unit}: leave the side shims"
        if close or enough
        else f"move the wheel {say_short(abs(answer.value), unit)} {unit} "
        f"{'away from' if answer.value > 0 else 'toward'} the pinion, give or take {say_short(answer.u, unit)}"
    )
    wants = () if close or enough else _pair(one, moved, unit)
    return Told(
        one,
        headline,
        tuple(line for line in lines if line),
        answer,
        wants[0] if wants else None,
        tuple(c for c in (one.caution, *answer.cautions) if c),
        _concerns(one),
        fitted=not wants,
        extra=wants[1:],
    )


def _has_found(one: SideShimSum, readings: JobReadings) -> bool:
    return "as_found" in readings.by_code[one.backlash].stages and readings.complete(one.backlash, "as_found")


def _inside(
    readings: JobReadings, code: str, stage: str, target: float, lower: float | None, upper: float | None
) -> bool:
    """Whether every place round the wheel is inside the limits and the mean within half a unit of the target."""
    unit = readings.unit(code)
    values = [s.value for s in readings.sources(code, stage, unit)]
    low, high = (float("-inf") if lower is None else lower), (float("inf") if upper is None else upper)
    near = abs(sum(values) / len(values) - target) <= float(units.factor("thou", unit)) * DEFAULT_TOLERANCE_THOU
    return near and all(low <= v <= high for v in values)


def _variation(one: SideShimSum, readings: JobReadings, stage: str) -> str:
    unit = readings.unit(one.backlash)
    values = [s.value for s in readings.sources(one.backlash, stage, unit)]
    if len(values) < 2:
        return ""
    return "backlash " + mesh.judge_variation(values, good=one.good_variation, act=one.most_variation)[1]


def _pair(one: SideShimSum, moved: mesh.SideShims, unit: str) -> tuple[PackWanted, ...]:
    tolerance = one.choosing.tolerance or DEFAULT_TOLERANCE_THOU * float(units.factor("thou", unit))
    return tuple(
        PackWanted(
            one.choosing.stock,
            Want(thickness, tolerance, *one.choosing.leaves, safer=one.choosing.safer, name=name),  # type: ignore[arg-type] # one of its words, checked with the sheet
            unit,
            code,
        )
        for name, thickness, code in (
            ("wheel side", moved.wheel_side, one.wheel_side),
            ("far side", moved.far_side, one.far_side),
        )
    )


def pinion_sum(one: PinionSum, readings: JobReadings) -> list[Told]:
    """The pinion pack once the old pack and both marks are read."""
    places = [(code, readings.stage_of(code, "trial")) for code in (one.old_shim, one.old_mark, one.new_mark)]
    if not all(readings.complete(code, stage) for code, stage in places):
        return []
    unit = readings.unit(one.old_shim)
    concerns = (one.old_shim, one.old_mark, one.new_mark, *((one.final_pack,) if one.final_pack else ()))
    try:
        answer = pinion.pack_from_marks(
            readings.estimate(one.old_shim, places[0][1], unit),
            readings.value(one.old_mark, places[1][1], unit),
            readings.value(one.new_mark, places[2][1], unit),
            sign=1 if one.sign == 1 else -1,
            unit=unit,
        )
        if answer.value < 0:
            raise InputError("the marks ask for a pack thinner than nothing", field="mark", found=answer.sum)
    except QclogError as error:
        return [Told(one, "can't be worked out", characteristics=concerns, problem=error)]
    fitted = one.final_pack is not None and readings.complete(one.final_pack, "final")
    lines = [answer.sum]
    if fitted and one.final_pack:
        lines.append(f"fitted {say(readings.value(one.final_pack, 'final', unit), unit)}")
    tolerance = one.choosing.tolerance or DEFAULT_TOLERANCE_THOU * float(units.factor("thou", unit))
    want = Want(answer.value, tolerance, *one.choosing.leaves, safer=one.choosing.safer, name=one.name)  # type: ignore[arg-type] # one of its words, checked with the sheet
    return [
        Told(
            one,
            f"pinion pack wanted {say_short(answer.value, unit)} {unit}, give or take {say_short(answer.u, unit)}",
            tuple(lines),
            answer,
            PackWanted(one.choosing.stock, want, unit, one.final_pack),
            tuple(c for c in (one.caution, *answer.cautions) if c),
            concerns,
            fitted=fitted,
        )
    ]


def pattern_sum(one: PatternSum, readings: JobReadings) -> list[Told]:
    """What the last contact pattern asks for."""
    stage = next((s for s in ("final", "trial", "as_found") if readings.words(one.drive, s)), None)
    if stage is None:
        return []
    seen = readings.words(one.drive, stage) or ""
    concerns = (one.drive, *((one.coast,) if one.coast else ()))
    try:
        advice = pattern.advise(seen, one.more_shim)  # type: ignore[arg-type] # one of its words, checked with the sheet
    except QclogError as error:
        return [Told(one, "can't be worked out", characteristics=concerns, problem=error)]
    lines = []
    coast = readings.words(one.coast, stage) if one.coast else None
    if coast:
        lines.append(f"coast side {coast}")
    cautions = tuple(c for c in (one.caution, pattern.BY_MANUAL) if c)
    return [Told(one, f"drive side {advice}", tuple(lines), None, None, cautions, concerns, fitted=seen == "central")]
