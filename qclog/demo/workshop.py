"""The sample workshop "Fallowmere Gear Works": 285 cases over 18 months, with six stories and their decoys.

Invented throughout. The same seed gives the same workshop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qclog.demo import axle, comebacks, dates, gauges, lots, marine, shims, tractor
from qclog.demo.card import Card
from qclog.demo.plan import plan
from qclog.demo.planted import gather
from qclog.demo.stories import DEEP_BATCH, SEED, Planted, Truth
from qclog.demo.visits import Visit

COLUMNS = {
    "people": "person role",
    "gauges": "gauge kind unit step leaves calibration_due",
    "gauge_checks": "gauge checked_at event reference reading unit by note",
    "jobs": "job case_type case_serial casting rebuild machining_batch variant opened dispatched customer_ref"
    " outstanding concession",
    "parts": "job part lot supplier condition sub_assembly",
    "readings": "job characteristic stage position attempt reading unit gauge technician taken_at conditions note"
    " replaces reason",
    "comebacks": "job returned complaint finding attributable hours",
    "shim_stock": "set nominal measured unit layer minimum",
    "shim_movements": "set nominal measured moved_at change why job by note",
}
_ORDER = ("LR-2", "LR-3", "TB-6", "TB-D", "VX-1")
SUB_ASSEMBLY_DAY = 211  # 5 August 2025, three months before it was fitted and before DT-2 fell


@dataclass(frozen=True, slots=True)
class Workshop:
    """The rows of each exchange table (all cells text), what was planted, and what was true of each job."""

    seed: int
    tables: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]
    planted: Planted
    truths: tuple[Truth, ...]

    def rows(self, table: str) -> tuple[tuple[str, ...], ...]:
        """The rows of one table, in the order of COLUMNS[table]."""
        return dict(self.tables)[table]


def build_workshop(seed: int = SEED) -> Workshop:
    """Run the model. Any seed gives all stories with their counts; only the chance parts differ."""
    rng = np.random.default_rng([seed, 1])
    visits = plan(rng)
    visits.sort(key=lambda v: (v.day, _ORDER.index(v.case_type), v.slot))
    _name_cases(visits, rng)
    leaves = {id(v): _dispatch_day(v, rng) for v in visits}
    returns = comebacks.plan_returns(visits, leaves, rng)
    for again in comebacks.rebuilt_again(returns):
        visits.append(again)
        leaves[id(again)] = _dispatch_day(again, rng)
    shelf = _shelf_visit()
    visits = sorted([*visits, shelf], key=lambda v: (v.day, _ORDER.index(v.case_type), v.slot))
    for number, visit in enumerate(visits, start=1):
        visit.job = f"J{number:04d}"
    cards, truths = _fill_all(visits, seed)
    fitted = next(v for v in visits if "sub_assembly" in v.tags)
    next(c for c in cards if c.visit is fitted).part("input_shaft_assembly", sub_assembly=shelf.job, condition="")
    leaves[id(shelf)] = dates.working_days_after(fitted.day, -1)
    noise = np.random.default_rng([seed, 2]).normal(0, 1, 2000).tolist()
    reads = comebacks.as_returned(returns, np.random.default_rng([seed, 4]))
    tables = {
        "people": gauges.PEOPLE,
        "gauges": gauges.GAUGES,
        "gauge_checks": tuple(gauges.check_rows(noise)),
        "jobs": tuple(_job_row(v, leaves[id(v)]) for v in visits),
        "parts": tuple(row for card in cards for row in card.parts),
        "readings": (*(row for card in cards for row in card.readings), *reads),
        "comebacks": tuple(r.row() for r in returns),
        "shim_stock": shims.size_rows(),
        "shim_movements": shims.movement_rows(),
    }
    planted = gather(visits, shelf, returns, {t.job: t for t in truths}, leaves)
    return Workshop(seed, tuple(tables.items()), planted, tuple(truths))


def _name_cases(visits: list[Visit], rng: np.random.Generator) -> None:
    counts = dict.fromkeys(_ORDER, 0)
    worn_serial = ""
    for visit in visits:
        if "worn" in visit.tags and worn_serial:
            visit.serial = worn_serial
            continue
        counts[visit.case_type] += 1 + int(rng.integers(0, 4))
        visit.serial = f"{visit.case_type.replace('-', '')}-{1000 + counts[visit.case_type]}"
        if "worn" in visit.tags:
            worn_serial = visit.serial
        elif rng.random() < 0.1:
            visit.rebuild = 2


def _dispatch_day(visit: Visit, rng: np.random.Generator) -> int | None:
    after = int(rng.integers(3, 10))
    return None if visit.open_at else min(dates.working_days_after(visit.day, 2 + after), dates.LAST_DAY)


def _shelf_visit() -> Visit:
    return Visit("LR-2", (0, 0), SUB_ASSEMBLY_DAY, technician="Ash", gauge="DT-2", tags={"shelf"})


def _fill_all(visits: list[Visit], seed: int) -> tuple[list[Card], list[Truth]]:
    shifts = _batch_shifts(visits, seed)
    cards, truths = [], []
    for visit in visits:
        rng = np.random.default_rng([seed, 6, _ORDER.index(visit.case_type), *visit.slot])
        shift = shifts.get(visit.batch, 0.0)
        card = Card(visit)
        cards.append(card)
        if "shelf" in visit.tags:
            _build_for_the_shelf(card)
        elif visit.case_type in ("LR-2", "LR-3"):
            truths.append(marine.fill(card, batch_shift=shift, seed=seed, rng=rng))
        elif visit.case_type == "TB-6":
            truths.append(tractor.fill_gearbox(card, batch_shift=shift, rng=rng))
        else:
            (tractor.fill_bevel if visit.case_type == "TB-D" else axle.fill)(card, rng)
            truths.append(Truth(visit.job, visit.case_type, None, None))
    return cards, truths


def _batch_shifts(visits: list[Visit], seed: int) -> dict[str, float]:
    """How far each ordinary machining batch lies from the middle of its case type's, thou."""
    rng = np.random.default_rng([seed, 5])
    shifts: dict[str, float] = {}
    for case_type in _ORDER:
        batches = sorted({v.batch for v in visits if v.case_type == case_type and v.batch} - {DEEP_BATCH})
        drawn = rng.normal(0, 0.3, len(batches))
        shifts |= dict(zip(batches, (drawn - drawn.mean() if batches else drawn).tolist(), strict=True))
    return shifts


def _build_for_the_shelf(card: Card) -> None:
    card.begin("final", card.visit.day, 14 * 60)
    card.read("input_float", "4.5", gauge="DT-2", note="input shaft assembly for the shelf")
    card.part("input_bearing", *lots.bearing("IB", card.visit.day))


def _job_row(visit: Visit, leaves: int | None) -> tuple[str, ...]:
    first = dates.working_days_after(visit.day, -3) if visit.slot[0] else visit.day
    opened = dates.write(dates.moment(max(first, 0), 8 * 60 + 30))
    dispatched = "" if leaves is None else dates.write(dates.moment(leaves, 16 * 60))
    shelf = "shelf" in visit.tags
    concession = (
        "pinch 2.8 thou accepted, no leaf in stock to make it up; customer told; Heron"
        if "concession" in visit.tags
        else ""
    )
    outstanding = next((said for tag, said in comebacks.OUTSTANDING.items() if tag in visit.tags), "")
    return (
        visit.job, visit.case_type, visit.serial, visit.casting, "" if shelf else str(visit.rebuild), visit.batch,
        visit.variant, opened, dispatched, "shelf stock" if shelf else f"F{visit.job[1:]}", outstanding, concession,
    )  # fmt: skip
