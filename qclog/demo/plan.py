"""Which cases come in, when, who works on them with which gauge, and where the stories lie."""

from __future__ import annotations

import numpy as np

from qclog.demo.stories import (
    DEEP_BATCH,
    DEEP_BY,
    DROPPED,
    DROPPED_DAY,
    RETURNED_DAY,
    ROUNDER,
    ROUNDS_FROM_MONTH,
    THICK_LOT,
)
from qclog.demo.visits import Visit, machine, share_out, slots, spread_cases

Slot = tuple[int, int]
CASE_SD = 1.3  # thou

# Visits in each of the 18 months; the worn case's three are among the 112 of LR-2.
LR2_MONTHS = (5, 4, 5, 5, 5, 8, 8, 11, 12, 11, 11, 4, 4, 4, 4, 4, 4, 3)
LR3_MONTHS = (2, 2, 2, 3, 2, 2, 2, 3, 4, 4, 4, 3, 2, 2, 2, 2, 2, 2)
TB6_MONTHS = (2, 2, 2, 2, 2, 3, 2, 2, 2, 2, 3, 2, 2, 2, 3, 2, 3, 2)
TBD_MONTHS = (2, 1, 2, 2, 1, 2, 2, 1, 2, 2, 1, 2, 2, 1, 2, 2, 1, 2)
VX1_MONTHS = (3,) * 6 + (4,) * 6 + (3,) * 6

LR2_BATCHES = (
    ("M01", 1, 2, 5), ("M03", 3, 4, 6), ("M05", 5, 6, 5), ("M08", 6, 7, 5), ("M10", 8, 9, 7), ("M11", 9, 11, 7),
    ("M13", 10, 12, 6), ("M15", 11, 13, 5), ("M17", 13, 14, 5), ("M18", 15, 16, 5), ("M20", 17, 18, 4),
)  # fmt: skip
LR3_BATCHES = (("M02", 2, 5, 6), ("M09", 8, 10, 7), ("M14", 11, 13, 6), ("M19", 15, 17, 5))
TB6_BATCHES = (("M04", 3, 6, 5), ("M06", 6, 8, 4), ("M12", 10, 12, 5), ("M16", 13, 15, 5))

WORN = (((1, 2), "Ash", 25.0, 1.0), ((9, 4), "Birch", 27.0, 2.0), ((16, 1), "Ash", 30.0, 4.0))
DEEP = (
    ((6, 1), "Ash", "FG-1"), ((6, 3), "Birch", DROPPED), ((6, 4), "Ash", "DT-1"), ((6, 6), "Ash", "FG-1"),
    ((7, 0), "Birch", "FG-2"), ((7, 2), "Ash", "FG-1"), ((7, 3), "Elm", "FG-3"), ((7, 5), "Ash", "DT-1"),
)  # fmt: skip
ROUNDED = ((4, 2), (5, 1), (6, 0), (12, 1), (13, 2), (14, 0), (15, 3), (17, 1))
BEFORE_ROUNDING = ((1, 0), (2, 1), (3, 3))
NOT_THICK = {8: (3, 8), 9: (1, 4, 6, 9), 10: (2, 5, 7, 10)}
THICK_MEASURED = ((8, 2), (8, 9), (9, 2), (9, 8), (10, 0), (10, 6))
DROPPED_LR2 = (
    ((9, 1), "Birch"), ((9, 6), "Birch"), ((9, 9), "Ash"), ((9, 11), "Birch"), ((10, 2), "Birch"), ((10, 4), "Elm"),
    ((10, 5), "Ash"), ((10, 7), "Birch"), ((11, 0), "Birch"), ((11, 1), "Birch"), ((11, 2), "Elm"),
    ((11, 3), "Birch"), ((11, 4), "Ash"), ((11, 5), "Birch"), ((11, 6), "Birch"), ((11, 7), "Birch"),
)  # fmt: skip
CAUGHT = ((9, 6), (10, 2), (11, 1), (11, 4), (11, 6))
DROPPED_LR3 = (
    ((9, 0), "Birch"), ((9, 2), "Birch"), ((10, 1), "Ash"), ((10, 3), "Birch"), ((11, 0), "Ash"), ((11, 2), "Birch"),
)  # fmt: skip
OTHER_LOW_LR2 = ((2, 2), (7, 1), (12, 3), (15, 1), (16, 2))
COMEBACKS_LR2 = (
    (8, 1), (8, 6), (9, 3), (10, 1),  # thick gasket
    (11, 0), (11, 3),  # dropped gauge
    (12, 3),  # another low pinch
    (3, 1), (13, 1),  # pinch as it should be
)  # fmt: skip
REBUILT_AGAIN_LR2 = ((8, 1), (8, 6), (10, 1), (11, 0), (11, 3), (12, 3))


def plan(rng: np.random.Generator) -> list[Visit]:
    """Every planned visit of the 285 cases, and the worn case's two more, in no order."""
    return [*_lr2(rng), *_lr3(rng), *_tb6(rng), *_tbd(rng), *_vx1(rng)]


def _lr2(rng: np.random.Generator) -> list[Visit]:
    visits = slots("LR-2", LR2_MONTHS)
    for slot, technician, recess, tilt in WORN:
        visit = visits[slot]
        visit.technician, visit.tilt, visit.rebuild = technician, tilt, 1 + [w[0] for w in WORN].index(slot)
        visit.gauge = "FG-1" if technician == "Ash" else "FG-2"
        visit.extra_recess = recess - 25.0
        visit.tags |= {"worn", "original"}
    for slot, technician, gauge in DEEP:
        visits[slot].technician, visits[slot].gauge, visits[slot].batch = technician, gauge, DEEP_BATCH
        visits[slot].extra_recess = DEEP_BY
        visits[slot].tags |= {"deep_bore"}
    for i, slot in enumerate((*BEFORE_ROUNDING, *ROUNDED)):
        visits[slot].technician, visits[slot].gauge = ROUNDER, ("FG-4", "FG-2")[i % 2]
        visits[slot].tags |= {"rounded"} if slot in ROUNDED else set()
    for slot, technician in DROPPED_LR2:
        visits[slot].technician, visits[slot].gauge = technician, DROPPED
        visits[slot].tags |= {"dropped_gauge"} | ({"caught"} if slot in CAUGHT else set())
        visits[slot].final_gauge = "FG-2" if slot in CAUGHT else ""
    for slot, visit in visits.items():
        if slot[0] in NOT_THICK and slot[1] not in NOT_THICK[slot[0]]:
            visit.gasket_lot = THICK_LOT
            visit.tags |= {"thick_gasket"} | ({"gasket_measured"} if slot in THICK_MEASURED else set())
    for slot, technician, gauge, tag in (
        ((3, 4), "Ash", "FG-1", "swarf"),
        ((14, 2), "Ash", "DT-1", "typo"),
        ((12, 0), "Birch", "FG-2", "missing"),
        ((15, 1), "Ash", "DT-1", "concession"),
        ((10, 10), "Birch", "FG-2", "sub_assembly"),
        ((13, 3), "Elm", "FG-3", "wrong_bush"),
        ((11, 8), "Birch", "FG-2", ""),
        ((11, 9), "Birch", "FG-2", ""),
        ((12, 2), "Birch", "FG-2", ""),
    ):
        visits[slot].technician, visits[slot].gauge = technician, gauge
        visits[slot].tags |= {tag} - {""}
    _set(visits, OTHER_LOW_LR2, "other_low")
    _set(visits, COMEBACKS_LR2, "comeback")
    _set(visits, ((4, 0), (11, 10), (16, 0)), "outstanding_coupling")
    _set(visits, REBUILT_AGAIN_LR2, "again")
    visits[(18, 1)].open_at, visits[(18, 2)].open_at = "final", "trial"
    machine(visits, LR2_BATCHES, rng)
    share_out(visits, {"Ash": 0.43, "Birch": 0.35, "Elm": 0.22}, rng)
    for visit in visits.values():
        visit.variant = str(rng.choice(["A", "B", "L"], p=[0.55, 0.3, 0.15]))
        visit.casting = str(rng.choice(["R2-early", "R2-late"], p=[0.4, 0.6]))
        visit.reused = bool(rng.random() < 0.25)
    visits[(13, 3)].variant = "B"
    _give_gauges(visits, rng)
    spread_cases(list(visits.values()), CASE_SD, rng)
    for slot, *_ in WORN:
        visits[slot].case_shift = 0.0
        visits[slot].variant, visits[slot].casting = "A", "R2-early"
    return list(visits.values())


def _set(visits: dict[Slot, Visit], chosen: tuple[Slot, ...], tag: str) -> None:
    for slot in chosen:
        visits[slot].tags.add(tag)


def _give_gauges(visits: dict[Slot, Visit], rng: np.random.Generator) -> None:
    """The stand-off gauge of every visit that has none yet; nobody but those planned takes the dropped one."""
    for visit in visits.values():
        first = bool(rng.random() < 0.6)
        if visit.gauge:
            continue
        if visit.technician == "Birch":
            after = DROPPED_DAY - 4 <= visit.day < RETURNED_DAY + 4
            visit.gauge = "FG-2" if after or not first else DROPPED
        else:
            visit.gauge = {"Ash": "FG-1" if first else "DT-1", "Elm": "FG-3"}.get(visit.technician, "FG-4")


def _lr3(rng: np.random.Generator) -> list[Visit]:
    visits = slots("LR-3", LR3_MONTHS)
    for slot, technician in DROPPED_LR3:
        visits[slot].technician, visits[slot].gauge = technician, DROPPED
        visits[slot].tags |= {"dropped_gauge"}
    visits[(5, 1)].technician, visits[(5, 1)].gauge = "Ash", "FG-1"
    _set(visits, ((5, 1),), "missing")
    _set(visits, ((7, 0),), "comeback")
    _set(visits, ((7, 0),), "again")
    visits[(18, 1)].open_at = "as_found"
    machine(visits, LR3_BATCHES, rng)
    share_out(visits, {"Ash": 0.42, "Birch": 0.33, ROUNDER: 0.25}, rng)
    for visit in visits.values():
        visit.variant = str(rng.choice(["S", "C"], p=[0.75, 0.25]))
        visit.casting = "R3"
        visit.reused = bool(rng.random() < 0.25)
        by_depth = bool(rng.random() < 0.35)
        if not visit.gauge and by_depth and visit.technician != ROUNDER:
            visit.gauge = "DM-1" if visit.technician == "Ash" else "DM-3"
    _give_gauges(visits, rng)
    spread_cases(list(visits.values()), CASE_SD, rng)
    return list(visits.values())


def _tb6(rng: np.random.Generator) -> list[Visit]:
    visits = slots("TB-6", TB6_MONTHS)
    visits[(10, 0)].technician = "Elm"
    _set(visits, ((10, 0),), "mistyped_unit")
    _set(visits, ((4, 1), (13, 0)), "other_low")
    visits[(18, 1)].open_at = "final"
    machine(visits, TB6_BATCHES, rng)
    share_out(visits, {ROUNDER: 0.42, "Elm": 0.33, "Ash": 0.25}, rng)
    for visit in visits.values():
        visit.gauge = {"Elm": "FG-3", "Ash": "FG-1"}.get(visit.technician, "FG-4")
        visit.casting = "T6"
        visit.reused = bool(rng.random() < 0.4)
    spread_cases(list(visits.values()), 1.5, rng)
    return list(visits.values())


def _tbd(rng: np.random.Generator) -> list[Visit]:
    visits = slots("TB-D", TBD_MONTHS)
    visits[(18, 1)].open_at = "trial"
    share_out(visits, {"Elm": 0.6, ROUNDER: 0.25, "Birch": 0.15}, rng)
    for visit in visits.values():
        visit.variant = str(rng.choice(["8:37", "9:38"]))
        visit.casting = "TD"
        visit.reused = bool(rng.random() < 0.45)
    return list(visits.values())


def _vx1(rng: np.random.Generator) -> list[Visit]:
    visits = slots("VX-1", VX1_MONTHS)
    _set(visits, ((9, 2),), "outstanding_seal")
    visits[(18, 2)].open_at = "as_found"
    share_out(visits, {"Elm": 0.4, ROUNDER: 0.35, "Ash": 0.15, "Birch": 0.1}, rng)
    for visit in visits.values():
        visit.casting = "VX"
        visit.reused = bool(rng.random() < 0.35)
    return list(visits.values())


def rounds_now(visit: Visit) -> bool:
    """Whether the technician of this visit rounds to even numbers by then."""
    return visit.technician == ROUNDER and visit.month >= ROUNDS_FROM_MONTH
