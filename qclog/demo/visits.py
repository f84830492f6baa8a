"""A visit of a case to the workshop as planned, before anything is measured."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from qclog.demo import dates


@dataclass(slots=True)
class Visit:
    """One visit. `day` is that of the trial assembly; `slot` (case type, month, place in the month) is its key."""

    case_type: str
    slot: tuple[int, int]
    day: int
    technician: str = ""
    gauge: str = ""
    final_gauge: str = ""
    batch: str = ""
    variant: str = ""
    casting: str = ""
    serial: str = ""
    rebuild: int = 1
    gasket_lot: str = ""
    reused: bool = False
    case_shift: float = 0.0  # thou: how far this case's recess lies from the middle of its kind
    extra_recess: float = 0.0
    tilt: float = 0.0
    low_pinch: bool = False
    open_at: str = ""  # "as_found", "trial" or "final": how far an unfinished job has come
    tags: set[str] = field(default_factory=set)
    job: str = ""
    earlier: Visit | None = None

    @property
    def month(self) -> int:
        """The month of the trial assembly."""
        return dates.month_of(self.day)


def slots(case_type: str, counts: tuple[int, ...]) -> dict[tuple[int, int], Visit]:
    """Empty visits spread over the months, by (month, place in the month)."""
    return {
        (month, i): Visit(case_type, (month, i), day)
        for month, count in enumerate(counts, start=1)
        for i, day in enumerate(dates.days_of_month(month, count))
    }


def share_out(visits: dict[tuple[int, int], Visit], weights: dict[str, float], rng: np.random.Generator) -> None:
    """Give every visit without a technician one, by weight."""
    names = list(weights)
    for visit in visits.values():
        drawn = str(rng.choice(names, p=list(weights.values())))
        visit.technician = visit.technician or drawn


def machine(
    visits: dict[tuple[int, int], Visit],
    batches: tuple[tuple[str, int, int, int], ...],
    rng: np.random.Generator,
) -> None:
    """Put visits into machining batches: (batch, first month, last month, size), at random among those free."""
    for batch, first, last, size in batches:
        free = [v for v in visits.values() if first <= v.slot[0] <= last and not v.batch and "original" not in v.tags]
        for i in sorted(rng.choice(len(free), size=min(size, len(free)), replace=False).tolist()):
            free[i].batch = batch


def spread_cases(visits: list[Visit], sd: float, rng: np.random.Generator) -> None:
    """Give each case its own deviation; centred within each group, so that the means of groups are as planted."""
    groups: dict[str, list[Visit]] = {}
    for visit in visits:
        visit.case_shift = float(rng.normal(0, sd))
        planted = [tag for tag in ("deep_bore", "dropped_gauge") if tag in visit.tags]
        groups.setdefault(planted[0] if planted else f"machined {bool(visit.batch)}", []).append(visit)
    for group in groups.values():
        middle = sum(v.case_shift for v in group) / len(group)
        for visit in group:
            visit.case_shift -= middle
