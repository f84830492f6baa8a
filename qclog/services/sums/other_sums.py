"""Growth, fits, torque against shim, and faces out of true, with a job's readings."""

from __future__ import annotations

from dataclasses import replace

from qclog.bench import fits, growth, torque
from qclog.bench.answer import TRIAL, Answer, say, say_short
from qclog.bench.positions import FaceReading, read_face
from qclog.bench.uncertainty import GAUGE_TERMS
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Characteristic
from qclog.domain.sheets.sums import FitSum, GrowthSum, PackSum, SideShimSum, TorqueSum
from qclog.errors import QclogError
from qclog.services.sums.pack_sums import chance_text, limits_line
from qclog.services.sums.sum_readings import JobReadings, Told

FEEL_THOU = 0.2
"""Repeatability where the sheet names no gauge kind; common practice, no source."""


def growth_sum(one: GrowthSum, readings: JobReadings) -> list[Told]:
    """The preload when running, once it is known on the bench."""
    stage = readings.last_stage(one.of)
    if stage is None:
        return []
    unit = readings.unit(one.of)
    per_mm = float(units.factor("mm", unit))
    in_mm = growth.setting_change(one.span_mm, one.case, one.shaft, one.running_at - one.bench_at)
    change = replace(in_mm, value=in_mm.value * per_mm, u=in_mm.u * per_mm, unit=unit)
    cold = readings.estimate(one.of, stage, unit)
    warm = growth.warm_setting(cold, change, lower=one.lower, upper=one.upper)
    gone = growth.rise_that_takes(max(0.0, cold.value / per_mm), one.span_mm, one.case, one.shaft)
    as_unit = f" = {say(change.value, unit)} {unit}" if unit != "mm" else ""
    lines = [warm.sum, change.sum + as_unit, limits_line(warm) if warm.judged else ""]
    if gone is not None and gone > 0:
        lines.append(f"all of it is gone {gone:.0f} °C above the bench")
    return [
        Told(
            one,
            f"{say_short(warm.value, unit)} {unit} at {one.running_at:g} °C, give or take {say_short(warm.u, unit)}",
            tuple(line for line in lines if line),
            warm,
            cautions=tuple(c for c in (one.caution, growth.SAME_HEAT) if c),
            characteristics=(one.of,),
            fitted=True,
        )
    ]


def fit_sum(one: FitSum, readings: JobReadings) -> list[Told]:
    """The fit with its letter, once both parts are measured."""
    stage = readings.last_stage(one.bore, one.shaft)
    if stage is None:
        return []
    unit = readings.unit(one.bore)
    limits = fits.read_fit(one.limits) if one.limits else None
    answer = fits.fit_of(
        readings.estimate(one.bore, stage, unit),
        readings.estimate(one.shaft, stage, unit),
        lower=limits.least if limits else None,
        upper=limits.most if limits else None,
        unit=unit,
    )
    lines = [answer.sum]
    if limits:
        ends = f"{fits.write_fit(limits.least, unit)} to {fits.write_fit(limits.most, unit)}"
        lines.append(f"wanted {ends}: {chance_text(answer)}")
    headline = f"{fits.write_fit(answer.value, unit)} {unit}, give or take {say_short(answer.u, unit)}"
    cautions = (one.caution,) if one.caution else ()
    return [Told(one, headline, tuple(lines), answer, None, cautions, (one.bore, one.shaft), fitted=True)]


def torque_sum(one: TorqueSum, readings: JobReadings, learned: torque.Slope | None) -> list[Told]:
    """What the torque's window is worth in shim, and how far a reading outside it must move."""
    stage = readings.last_stage(one.torque)
    if stage is None or (learned is None and one.slope is None):
        return []
    c = readings.by_code[one.torque]
    limits = c.limit_set(stage, "reused" if readings.reused(c) else "new")
    if limits is None or limits[1].lower is None or limits[1].upper is None:
        return []
    lower, upper, unit = limits[1].lower, limits[1].upper, c.unit
    shim_unit = readings.unit(one.against)
    read = readings.estimate(one.torque, stage, unit)
    try:
        judged = torque.judge_torque(
            read, lower, upper, conditions=sorted(readings.conditions(one.torque, stage)), unit=unit
        )
        slope = _slope(one, learned)
        steps = one.steps or (1.0,)
        needed = torque.step_needed(lower, upper, slope, steps, shim_unit=shim_unit, unit=unit)
    except QclogError as error:
        return [Told(one, "can't be worked out", characteristics=(one.torque,), problem=error)]
    middle = limits[1].nominal if limits[1].nominal is not None else (lower + upper) / 2
    change = (middle - read.value) / slope
    sum_line = f"({say(middle, unit)} - {say(read.value, unit)}) / {slope:.2g} = {say(change, shim_unit)} {shim_unit}"
    known = (
        f"{learned.value:.2f} ({learned.low:.2f} to {learned.high:.2f}) {unit} for each {shim_unit}, "
        f"from {learned.n} units"
        if learned is not None and slope == learned.value
        else f"{slope:g} {unit} for each {shim_unit}, the sheet's own"
    )
    out = judged.standing in ("low", "high")
    headline = (
        f"{'more' if change > 0 else 'less'} pinch by about {say_short(abs(change), shim_unit)} {shim_unit}"
        if out
        else f"window is worth {say_short(needed.window_in_shim, shim_unit)} {shim_unit} of pinch"
    )
    lines = [limits_line(judged), *([sum_line] if out else []), needed.sum, known]
    answer = Answer("change of pinch", change, read.u / slope, shim_unit, sum_line)
    cautions = tuple(x for x in (one.caution, *judged.cautions, TRIAL) if x)
    return [Told(one, headline, tuple(lines), answer, None, cautions, (one.torque,), fitted=not out)]


def _slope(one: TorqueSum, learned: torque.Slope | None) -> float:
    if learned is not None and learned.low > 0:
        return learned.value
    return one.slope or 0.0


def faces(readings: JobReadings) -> list[tuple[Characteristic, str, FaceReading]]:
    """What the spread round each gap and each backlash says, at every stage where all its places are read."""
    found = []
    for one in readings.story.sheet.sums:
        code = one.gap if isinstance(one, PackSum) else one.backlash if isinstance(one, SideShimSum) else None
        c = readings.by_code[code] if code else None
        if c is None or len(c.positions) not in (3, 4, 6, 8) or not _evenly_round(c):
            continue
        for stage in c.stages:
            rows = readings.rows(c.code, stage)
            whole = all(r.kind in ("point", "bracket") for r in rows)
            if [r.position for r in rows] == list(c.positions) and whole:
                found.append((c, stage, _face(c, stage, readings, turning=isinstance(one, SideShimSum))))
    return found


def _face(c: Characteristic, stage: str, readings: JobReadings, *, turning: bool) -> FaceReading:
    values = [s.value for s in readings.sources(c.code, stage, c.unit)]
    thou = float(units.factor("thou", c.unit))
    ends = [(r.low, r.high) for r in readings.rows(c.code, stage)]
    widths = [high - low for low, high in ends if low is not None and high is not None]
    step = max(c.step or 0.0, *widths)
    sigma = (GAUGE_TERMS[c.gauge_kind or "other"].own or FEEL_THOU) * thou
    return read_face(values, c.positions, sigma=sigma, step=step, unit=c.unit, turning=turning)


def _evenly_round(c: Characteristic) -> bool:
    """Whether its positions are clock hours or angles, evenly spaced from the first: places in a list are not."""
    try:
        places = [float(p) for p in c.positions]
    except ValueError:
        return False
    n = len(places)
    turn = 360.0 if max(places) > n and max(places) > 12 else 12.0 if max(places) > n else float(n)
    steps = [(b - a) % turn for a, b in zip(places, [*places[1:], places[0]], strict=True)]
    return all(abs(s - turn / n) < 1e-9 for s in steps)
