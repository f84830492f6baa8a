"""What is read and fitted on the tractor gearbox TB-6 and the bevel drive TB-D."""

from __future__ import annotations

import numpy as np

from qclog.demo import dates, gauges, lots
from qclog.demo.card import Card
from qclog.demo.gauges import Spoken
from qclog.demo.plan import rounds_now
from qclog.demo.stories import LEAST_PINCH, Truth
from qclog.demo.visits import Visit

CAP_GAP = 34.0  # thou, with no shim
CAP_PINCH = 4.0
FACED = 1.0
FLOATS = (("second_gear_float", 8.0), ("third_gear_float", 8.0), ("fourth_gear_float", 8.0))
MESHED = "rotating oiled no_seal out_of_mesh"
TEETH = ("0", "90", "180", "270")
BACKLASH_PER_MOVE = 0.65  # thou of backlash for a thou that the wheel moves away from the pinion


def _feel(visit: Visit, thou: float, rng: np.random.Generator) -> Spoken:
    """A float as this visit's technician says it."""
    felt = max(0.0, thou + gauges.TECHNICIAN_BIAS[visit.technician] + float(rng.normal(0, gauges.GAUGE_NOISE)))
    rounded = float(rng.random()) < 0.7
    return gauges.rounded_feeler(felt) if rounds_now(visit) and rounded else gauges.say(visit.gauge, felt)


def _read_floats(card: Card, code: str, places: tuple[str, ...], thou: float, rng: np.random.Generator) -> None:
    for place in places:
        card.read(code, _feel(card.visit, thou, rng), position=place, gauge=card.visit.gauge)


def fill_gearbox(card: Card, *, batch_shift: float, rng: np.random.Generator) -> Truth:
    """Fill the card of one TB-6 visit; what was true of it."""
    visit = card.visit
    _gearbox_as_found(card, rng)
    gap = CAP_GAP + visit.case_shift + (FACED + batch_shift if visit.batch else 0.0) + dates.season(visit.day) / 2
    said, shim, pinch = _cap(visit, gap, rng)
    if card.has("trial"):
        card.begin("trial", visit.day, 9 * 60 + float(rng.integers(0, 120)))
        conditions = f"rotated {'cold' if dates.is_cold(visit.day) else 'warm'}"
        for position, spoken in zip(("12", "4", "8"), said, strict=True):
            card.read("input_cap_gap", spoken, position=position, gauge=visit.gauge, conditions=conditions)
    if card.has("final"):
        card.begin("final", dates.working_days_after(visit.day, 2), 9 * 60 + float(rng.integers(0, 150)))
        card.read("input_cap_shim", f"{shim:.1f}", gauge="MC-1")
        _gearbox_final(card, rng)
    lot, supplier = lots.bearing("IB", visit.day)
    card.part("input_bearing", lot, supplier)
    card.part("thrust_washers", f"W-{visit.day // 120 + 3}", condition="new")
    card.part("synchro_ring", "" if visit.reused else f"SR-{visit.day // 150 + 5}",
              condition="reused" if visit.reused else "new")  # fmt: skip
    return Truth(visit.job, visit.case_type, None, pinch if card.has("final") else None)


def _cap(visit: Visit, gap: float, rng: np.random.Generator) -> tuple[list[Spoken], float, float]:
    """Gaps as read, the shim as measured, and the true pinch; drawn again until the pinch is as planned."""
    low = "other_low" in visit.tags
    while True:
        said = [_feel(visit, gap + float(rng.normal(0, 0.3)), rng) for _ in range(3)]
        mean = sum(s.middle for s in said) / 3
        real = round(mean - CAP_PINCH) + float(rng.normal(0, 0.25))
        pinch = gap - real
        if abs(pinch - LEAST_PINCH) > 0.05 and (pinch < LEAST_PINCH) == low:
            return said, real + float(rng.normal(0, 0.12)), pinch


def _gearbox_as_found(card: Card, rng: np.random.Generator) -> None:
    visit = card.visit
    card.begin("as_found", dates.working_days_after(visit.day, -2), 9 * 60 + float(rng.integers(0, 240)))
    bore, seat = float(rng.normal(100.016, 0.005)), float(rng.normal(50.0095, 0.003))
    for position in ("12-6", "3-9"):
        card.read("input_bore", f"{bore + float(rng.normal(0, 0.002)):.3f}", position=position, gauge="BG-1")
    for position in ("0", "90"):
        card.read("input_seat", f"{seat + float(rng.normal(0, 0.001)):.3f}", position=position, gauge="MC-2")
    card.read("bearing_outside", f"{float(rng.normal(99.993, 0.002)):.3f}", gauge="MC-2")
    card.read("bearing_inside", f"{float(rng.normal(49.994, 0.002)):.3f}", gauge="BG-1")
    if rng.random() < 0.6:
        for position in ("12-6", "3-9"):
            thou = min(3.9, abs(float(rng.normal(1.6, 1.0))))
            card.read("front_face_flatness", gauges.say(visit.gauge, thou), position=position, gauge=visit.gauge)
        _read_floats(card, "layshaft_float", ("front", "rear"), float(rng.normal(11.0, 2.0)), rng)


def _gearbox_final(card: Card, rng: np.random.Generator) -> None:
    visit = card.visit
    _read_floats(card, "layshaft_float", ("front", "rear"), float(np.clip(rng.normal(7.0, 0.9), 5, 9)), rng)
    for code, wanted in FLOATS:
        _read_floats(card, code, ("1", "2", "3"), float(np.clip(rng.normal(wanted, 0.9), 6.2, 9.8)), rng)
    _read_floats(card, "idler_float", ("",), float(np.clip(rng.normal(11.0, 2.0), 7, 16)), rng)
    if "mistyped_unit" in visit.tags:
        card.read("reverse_gear_float", "0.48", gauge="DM-3")
    else:
        _read_floats(card, "reverse_gear_float", ("",), float(np.clip(rng.normal(20.0, 3.0), 13, 28)), rng)
    middle = float(rng.normal(0.95 if visit.reused else 1.15, 0.1))
    for position in ("1", "2", "3"):
        leaf = int(max(0.65, middle + float(rng.normal(0, 0.03))) / 0.05)
        text = f"{leaf * 0.05:.2f}/{(leaf + 1) * 0.05:.2f}"
        card.read("synchro_gap", text, position=position, gauge="FG-5")
    _read_floats(card, "fork_clearance", ("",), float(rng.uniform(5, 14)), rng)
    card.read("detent_load", f"{float(np.clip(rng.normal(10.0, 0.35), 9.1, 10.9)):.1f}", gauge="SB-1")
    card.read("case_bolts", str(round(float(np.clip(rng.normal(50.5, 1.0), 47, 54)))), gauge="TW-1",
              conditions="oiled")  # fmt: skip


def fill_bevel(card: Card, rng: np.random.Generator) -> None:
    """Fill the card of one TB-D visit."""
    visit = card.visit
    set_condition = "reused" if visit.reused else "new"
    card.begin("as_found", dates.working_days_after(visit.day, -2), 9 * 60 + float(rng.integers(0, 240)))
    old_mark, old_shim = int(rng.integers(-3, 4)), float(rng.integers(180, 210)) / 2
    card.read("old_pinion_mark", f"{old_mark:+d}")
    card.read("old_pinion_shim", f"{old_shim:.1f}", gauge="MC-1")
    found = float(rng.normal(9.0, 1.0)) if visit.reused else float(rng.normal(11.5, 2.0))
    _read_backlash(card, found, TEETH, rng)
    wheel_side, far_side = float(rng.normal(42, 4)), float(rng.normal(46, 4))
    if rng.random() < 0.7:
        card.read("wheel_side_shim", f"{wheel_side:.1f}", gauge="MC-1")
        card.read("far_side_shim", f"{far_side:.1f}", gauge="MC-1")
    card.read("drive_pattern", "central" if visit.reused else str(rng.choice(["central", "toe", "heel", "high"])))
    new_mark = old_mark if visit.reused else int(rng.integers(-3, 4))
    card.begin("trial", visit.day, 9 * 60 + float(rng.integers(0, 120)))
    card.read("new_pinion_mark", f"{new_mark:+d}")
    card.read("crown_wheel_runout", gauges.dial(min(2.9, abs(float(rng.normal(1.2, 0.6))))), gauge="DT-1")
    no_play = round((wheel_side + far_side + float(rng.normal(-8, 1.5))) * 2) / 2
    card.read("zero_play_total", f"{no_play:.1f}", gauge="MC-1")
    if card.has("final"):
        card.begin("final", dates.working_days_after(visit.day, 1), 9 * 60 + float(rng.integers(0, 180)))
        wanted = float(np.clip(found, 6.2, 12.5)) if visit.reused else 8.0
        _bevel_final(card, old_shim + new_mark - old_mark, no_play, wanted, rng)
    card.part("crown_wheel_set", "" if visit.reused else f"CW-{visit.day // 100 + 2}", condition=set_condition)
    lot, supplier = lots.bearing("PB", visit.day)
    card.part("pinion_bearings", "" if visit.reused else lot, "" if visit.reused else supplier, set_condition)
    card.part("side_bearings", *lots.bearing("SB", visit.day))


def _read_backlash(
    card: Card, middle: float, positions: tuple[str, ...], rng: np.random.Generator, attempt: int = 1
) -> None:
    wobble, start = float(rng.uniform(0, 0.6)), float(rng.uniform(0, 6.28))
    for i, position in enumerate(positions):
        thou = middle + wobble * float(np.cos(2 * np.pi * i / len(positions) - start)) + float(rng.normal(0, 0.15))
        card.read(
            "backlash",
            gauges.dial(thou),
            position=position,
            gauge="DT-1",
            conditions="caps_torqued",
            attempt=attempt,
        )


def _bevel_final(card: Card, pinion_shim: float, no_play: float, backlash: float, rng: np.random.Generator) -> None:
    card.read("pinion_shim", f"{pinion_shim:.1f}", gauge="MC-1")
    torque = float(np.clip(rng.normal(14, 2), 9, 19) if card.visit.reused else np.clip(rng.normal(20, 3), 12, 28))
    card.read("pinion_torque", f"{torque:.0f}", gauge="TQ-1", conditions=MESHED)
    total = no_play + 8 + float(rng.integers(-2, 3)) / 2
    wheel_side = round((total / 2 + float(rng.normal(-2, 2))) * 2) / 2
    set_to = backlash + float(np.clip(rng.normal(0, 0.35), -0.6, 0.6))
    first_was_off = float(rng.choice([-5, -4, -3, 3, 4, 5])) if rng.random() < 0.5 else 0.0
    if first_was_off:
        card.read("wheel_side_shim", f"{wheel_side - first_was_off:.1f}", gauge="MC-1")
        card.read("far_side_shim", f"{total - wheel_side + first_was_off:.1f}", gauge="MC-1")
        _read_backlash(card, set_to + BACKLASH_PER_MOVE * first_was_off, TEETH, rng)
    attempt = 2 if first_was_off else 1
    card.read("wheel_side_shim", f"{wheel_side:.1f}", gauge="MC-1", attempt=attempt)
    card.read("far_side_shim", f"{total - wheel_side:.1f}", gauge="MC-1", attempt=attempt)
    _read_backlash(card, set_to, TEETH, rng, attempt)
    card.read("drive_pattern", "central" if rng.random() < 0.85 else "toe")
    card.read("coast_pattern", "central" if rng.random() < 0.8 else "heel")
    card.read("cap_bolts", str(round(float(rng.normal(75, 0.8)))), gauge="TW-1", conditions="witnessed")
    card.read("flange_nut", str(5 * round(float(rng.normal(50, 1)))), gauge="TW-2", conditions="witnessed")
