"""What is read and fitted on the light-van rear axle VX-1."""

from __future__ import annotations

import numpy as np

from qclog.demo import dates, gauges, lots
from qclog.demo.card import Card

EIGHTHS = tuple(str(i) for i in range(1, 9))
SIDES = ("wheel side", "far side")
THOU = 0.0254  # mm


def fill(card: Card, rng: np.random.Generator) -> None:
    """Fill the card of one VX-1 visit."""
    visit = card.visit
    old_mark, old_shim = int(rng.integers(-5, 6)), float(rng.integers(180, 210)) / 2
    card.begin("as_found", dates.working_days_after(visit.day, -1), 9 * 60 + float(rng.integers(0, 240)))
    card.read("old_pinion_mark", f"{old_mark / 100:+.2f}")
    card.read("old_pinion_shim", f"{old_shim:.1f}", gauge="MC-1")
    if rng.random() < 0.5:
        for code in ("wheel_side_shim", "far_side_shim"):
            card.read(code, f"{_hard_shim(float(rng.normal(1.9, 0.15))):.2f}", gauge="MC-2")
    if card.has("trial"):
        card.begin("trial", visit.day, 9 * 60 + float(rng.integers(0, 120)))
        new_mark = old_mark if visit.reused else int(rng.integers(-5, 6))
        card.read("new_pinion_mark", f"{new_mark / 100:+.2f}")
        wanted = old_shim - (new_mark - old_mark) / 100 / THOU
        if card.has("final"):
            _final(card, round(wanted * 2) / 2, rng)
    condition = "reused" if visit.reused else "new"
    lot, supplier = lots.bearing("VB", visit.day)
    card.part("crown_wheel_set", "" if visit.reused else f"VC-{visit.day // 80 + 1}", condition=condition)
    card.part("pinion_bearings", "" if visit.reused else lot, "" if visit.reused else supplier, condition)
    card.part("side_bearings", *lots.bearing("VS", visit.day))


def _hard_shim(mm: float) -> float:
    """The nearest side shim of the set, 0.95 to 3.00 mm by 0.05."""
    return min(3.0, max(0.95, round(mm / 0.05) * 0.05))


def _final(card: Card, pinion_shim: float, rng: np.random.Generator) -> None:
    visit = card.visit
    card.begin("final", dates.working_days_after(visit.day, 1), 9 * 60 + float(rng.integers(0, 180)))
    card.read("pinion_shim", f"{pinion_shim:.1f}", gauge="MC-1")
    middle, spread, lowest, highest = (12.0, 1.0, 9.5, 14.5) if visit.reused else (23.0, 1.7, 18.5, 27.5)
    torque = float(np.clip(rng.normal(middle, spread), lowest, highest))
    rise = float(np.clip(rng.normal(3.0, 0.4), 2.1, 3.9))
    turning = "rotating oiled no_seal"
    card.read("pinion_torque", gauges.dial(torque), gauge="TQ-1", conditions=f"{turning} out_of_mesh")
    total = float(rng.normal(3.9, 0.12))
    wheel_side = _hard_shim(total / 2 + float(rng.normal(-0.03, 0.08)))
    card.read("wheel_side_shim", f"{wheel_side:.2f}", gauge="MC-2")
    card.read("far_side_shim", f"{_hard_shim(total - wheel_side):.2f}", gauge="MC-2")
    card.read("assembly_torque", gauges.dial(torque + rise), gauge="TQ-1", conditions=turning)
    backlash = float(np.clip(rng.normal(6.3, 0.35), 5.7, 7.0))
    wobble, start = float(rng.uniform(0, 0.45)), float(rng.uniform(0, 6.28))
    for i, position in enumerate(EIGHTHS):
        thou = backlash + wobble * float(np.cos(np.pi * i / 4 - start)) + float(rng.normal(0, 0.15))
        card.read("backlash", gauges.dial(thou), position=position, gauge="DT-1", conditions="caps_torqued")
    card.read("drive_pattern", "central" if rng.random() < 0.9 else str(rng.choice(["toe", "heel"])))
    for side in SIDES:
        end_float = float(np.clip(rng.normal(3.0, 1.2), 0.3, 7.0))
        card.read("axle_shaft_float", gauges.dial(end_float), position=side, gauge="DT-1")
    if rng.random() < 0.6:
        for side in SIDES:
            card.read(
                "hub_runout", gauges.dial(min(2.9, abs(float(rng.normal(1.3, 0.6))))), position=side, gauge="DT-1"
            )
    card.read("crown_bolts", str(round(float(rng.normal(100, 0.9)))), gauge="TW-1", conditions="witnessed")
    card.read("oil_fill", f"{float(np.clip(rng.normal(1.8, 0.05), 1.65, 1.95)):.1f}")
