"""What is read and fitted on the marine gearboxes LR-2 and LR-3."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from qclog.demo import cover as covers
from qclog.demo import dates, gauges, lots
from qclog.demo.card import Card
from qclog.demo.cover import POSITIONS, Assembly, Cover
from qclog.demo.gauges import Spoken
from qclog.demo.plan import rounds_now
from qclog.demo.stories import Truth

OWN_FEELER = {"Ash": "FG-1", "Birch": "FG-2", "Cedar": "FG-4", "Elm": "FG-3"}
WORN_BORE = {1: 80.004, 2: 80.015, 3: 80.041}  # mm, by rebuild
WORN_FLATNESS = {1: 1.4, 2: 2.4, 3: 4.3}  # thou
CONCESSION_READ = (15.0, 14.5, 15.0, 14.5)  # thou, stand-off: pinch 2.8 with a 13.4 gasket
CONCESSION_FREE = 13.4
_NOT_REACHED = (("LR-2", "final", "9"), ("LR-3", "trial", "3"))


def fill(card: Card, *, batch_shift: float, seed: int, rng: np.random.Generator) -> Truth:
    """Fill the card of one marine visit; what was true of it."""
    visit = card.visit
    visit.gasket_lot = visit.gasket_lot or lots.gasket_lot(visit.case_type, visit.day)
    mean = lots.free_thickness(visit.case_type, visit.gasket_lot, seed)
    cover = covers.fit(visit, covers.true_recess(visit, batch_shift), mean, rng)
    if "concession" in visit.tags:
        cover = _accepted_low(cover)
    _as_found(card, rng)
    if card.has("trial"):
        card.begin("trial", visit.day, 9 * 60 + float(rng.integers(0, 90)))
        _read_assembly(card, cover.trial, visit.gauge, 1)
    if card.has("final"):
        card.begin("final", dates.working_days_after(visit.day, 1), 10 * 60 + float(rng.integers(0, 120)))
        _final(card, cover, rng)
    _parts(card)
    return Truth(visit.job, visit.case_type, cover.recess, cover.pinch if card.has("final") else None)


def _accepted_low(cover: Cover) -> Cover:
    said = tuple(gauges.dial(value) for value in CONCESSION_READ)
    mean = sum(CONCESSION_READ) / len(CONCESSION_READ)
    pack = round(cover.trial.recess + mean, 1)
    final = Assembly(covers.leaves_for(round(pack)), pack, said)
    return replace(cover, finals=(final,), pinch=mean - lots.CRUSH * CONCESSION_FREE, gasket_free=CONCESSION_FREE)


def _as_found(card: Card, rng: np.random.Generator) -> None:
    visit = card.visit
    card.begin("as_found", dates.working_days_after(visit.day, -1), 9 * 60 + float(rng.integers(0, 240)))
    worn = "worn" in visit.tags
    if not worn and rng.random() > 0.75:
        return
    if visit.case_type == "LR-3":
        _as_found_lr3(card, rng)
        return
    middle = WORN_BORE[visit.rebuild] if worn else float(rng.normal(80.013 if visit.batch else 80.015, 0.0035))
    out_of_true = 0.002 * visit.rebuild if worn else 0.002
    for position in ("12-6 outer", "3-9 outer", "12-6 inner", "3-9 inner"):
        mm = max(80.001, middle + float(rng.normal(0, out_of_true / 2)))
        card.read("output_bore", f"{mm:.3f}", position=position, gauge="BG-1")
    flatness = WORN_FLATNESS[visit.rebuild] if worn else min(2.9, abs(float(rng.normal(1.2, 0.7))))
    for i, position in enumerate(("12-6", "3-9", "1-7", "5-11")):
        thou = flatness if i == 1 else flatness * float(rng.uniform(0.3, 0.9))
        own = OWN_FEELER[visit.technician]
        card.read("aft_face_flatness", gauges.say(own, thou), position=position, gauge=own)


def _as_found_lr3(card: Card, rng: np.random.Generator) -> None:
    middle = float(rng.normal(90.015, 0.004))
    for position in ("12-6", "3-9"):
        card.read("output_bore", f"{middle + float(rng.normal(0, 0.002)):.3f}", position=position, gauge="BG-1")
    card.read("thrust_washer", f"{float(rng.normal(117.6, 0.35)):.1f}", gauge="MC-1")
    card.read("detent_spring_length", f"{float(rng.normal(22.4, 0.18)):.2f}", gauge="VC-1")


def _read_assembly(card: Card, assembly: Assembly, gauge: str, attempt: int, note: str = "") -> None:
    visit = card.visit
    conditions = f"rotated {'cold' if dates.is_cold(visit.day) else 'warm'}"
    leaves = assembly.leaves + (f"; {note}" if note else "")
    card.read("shim_pack", f"{assembly.pack:.1f}", gauge="MC-1", note=leaves, attempt=attempt)
    for position, said in zip(POSITIONS, assembly.stand_off, strict=True):
        read = partial(card.read, "stand_off", position=position, gauge=gauge, conditions=conditions)
        here = (visit.case_type, card.stage, position)
        if "missing" in visit.tags and here in _NOT_REACHED:
            read("not accessible: lifting eye in the way", attempt=attempt)
        elif "swarf" in visit.tags and here == ("LR-2", "final", "6"):
            read(gauges.say(gauge, said.middle + 4.0), note="high here, case and cover wiped, nothing seen")
        elif "typo" in visit.tags and here == ("LR-2", "final", "3"):
            read("61")
            read("16", attempt=2, replaces="1", reason="mistyped")
        else:
            read(said, attempt=attempt)


def _final(card: Card, cover: Cover, rng: np.random.Generator) -> None:
    visit = card.visit
    gauge = visit.final_gauge or visit.gauge
    for attempt, assembly in enumerate(cover.finals, start=1):
        note = "stand-off was low, re-shimmed" if attempt > 1 else ""
        _read_assembly(card, assembly, gauge, attempt, note)
    measured = bool(visit.tags & {"gasket_measured", "concession"})
    if measured or ("thick_gasket" not in visit.tags and rng.random() < 0.5):
        for position in ("1", "2", "3"):
            spread = 0.0 if "concession" in visit.tags else 0.03 if measured else 0.1
            thou = cover.gasket_free + float(rng.normal(0, spread))
            card.read("gasket_free", f"{thou:.1f}", position=position, gauge="MC-1")
    torque = 2.0 + 2.6 * cover.pinch + float(rng.normal(0, 1.2))
    torque = max(1.0, torque * (0.6 if visit.reused else 1.0))
    light = "light but even" if torque < 8.0 and not visit.reused else ""
    card.read("turning_torque", gauges.dial(torque).text, gauge="TQ-1", conditions="rotating oiled no_seal", note=light)
    (_rest_of_lr2 if visit.case_type == "LR-2" else _rest_of_lr3)(card, rng)
    if rng.random() < 0.03:
        card.read("leak_test", "fail", gauge="AG-1", note="weep at a cover bolt, sealed")
        card.read("leak_test", "pass", gauge="AG-1", attempt=2)
    else:
        card.read("leak_test", "pass", gauge="AG-1")


def _float(card: Card, code: str, thou: float) -> None:
    felt = thou + gauges.TECHNICIAN_BIAS[card.technician]
    said: Spoken = gauges.rounded_dial(felt) if rounds_now(card.visit) else gauges.dial(felt)
    conditions = "pushed_and_pulled" if code == "clutch_shaft_float" else ""
    card.read(code, said, gauge="DT-1", conditions=conditions)


def _rest_of_lr2(card: Card, rng: np.random.Generator) -> None:
    visit = card.visit
    _float(card, "input_float", float(np.clip(rng.normal(4.0, 0.7), 2.2, 5.8)))
    length = float(rng.normal(0, 0.02))
    if "wrong_bush" in visit.tags:
        card.read("large_bush_length", "18.02", gauge="VC-1", note="small-coupling bush had been fitted")
        card.read("large_bush_length", f"{21.5 + length:.2f}", gauge="VC-1", attempt=2, note="right bush fitted")
    elif visit.variant == "B":
        card.read("large_bush_length", f"{21.5 + length:.2f}", gauge="VC-1")
    else:
        card.read("small_bush_length", f"{18.0 + length:.2f}", gauge="VC-1")
    card.read("cover_bolts", str(round(float(rng.normal(24, 0.6)))), gauge="TW-1", conditions="oiled")
    runout = min(2.4, abs(float(rng.normal(0.9, 0.45))))
    card.read("coupling_runout", gauges.dial(runout), gauge="DT-1")


def _rest_of_lr3(card: Card, rng: np.random.Generator) -> None:
    own = OWN_FEELER[card.technician]
    for code, wanted in (("ahead_clutch_clearance", 35.0), ("astern_clutch_clearance", 40.0)):
        middle = float(rng.normal(wanted, 2.5))
        for position in ("12", "4", "8"):
            card.read(code, gauges.say(own, middle + float(rng.normal(0, 0.6))), position=position, gauge=own)
    _float(card, "clutch_shaft_float", float(np.clip(rng.normal(6.0, 0.9), 3.3, 8.6)))
    card.read("fork_clearance", gauges.say(own, float(rng.uniform(4.5, 13.5))), gauge=own)
    card.read("line_pressure", "pass", gauge="AG-1", conditions="warm")
    card.read("spin_noise", str(int(rng.random() < 0.25)))


def _parts(card: Card) -> None:
    visit = card.visit
    lot, supplier = lots.bearing("OB", visit.day)
    if visit.reused:
        card.part("output_bearing", condition="reused")
    else:
        card.part("output_bearing", lot, supplier)
    card.part("output_gasket", visit.gasket_lot, lots.GASKET_SUPPLIER)
    card.part("output_seal", f"S-{visit.day // 60 + 40}")
    if visit.case_type == "LR-3":
        card.part("ahead_plates", f"P-{visit.day // 90 + 11}", condition="new")
        card.part("astern_plates", f"P-{visit.day // 90 + 11}", condition="new")
        return
    card.part("input_bearing", *lots.bearing("IB", visit.day))
    if "wrong_bush" in visit.tags:
        card.part("output_bush", "BU180-07", condition="new")
    card.part("output_bush", f"BU{'215' if visit.variant == 'B' else '180'}-{visit.day // 120 + 4:02d}")
