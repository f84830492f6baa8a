"""Units that came back: when, with what complaint, how they read as received, and the ones rebuilt again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qclog.demo import dates
from qclog.demo.visits import Visit

OUTSTANDING = {
    "outstanding_seal": "customer's own hub seal not here: transport plug fitted, customer to fit the seal before use",
    "outstanding_coupling": "customer's own coupling not here: shaft end capped, check runout when fitted",
}
_LAST_RETURN = 495
_FINDINGS = {
    "thick_gasket": ("hot output bearing, whine under load", "outer ring has turned in the cover, pinch gone", "yes"),
    "dropped_gauge": ("knock taking up drive", "output bearing loose in the cover, ring marked", "yes"),
    "other_low": ("oil at the output, slight knock", "bearing ring creeping, seal lip worn", "yes"),
}
_ORDINARY = (
    ("oil weep at the cover", "sealant missed one stud", "yes"),
    ("stiff to turn after standing", "water in the oil from the boat's bilge", "no"),
    ("noise going astern", "coupling out of line by 6 thou, re-aligned", "no"),
)


@dataclass(frozen=True, slots=True)
class Return:
    """One comeback of one visit."""

    visit: Visit
    day: int
    complaint: str
    finding: str
    attributable: str
    hours: int

    def row(self) -> tuple[str, ...]:
        """The row of comebacks.csv."""
        at = dates.write(dates.moment(self.day, 11 * 60))
        return (self.visit.job, at, self.complaint, self.finding, self.attributable, str(self.hours))


def plan_returns(visits: list[Visit], leaves: dict[int, int | None], rng: np.random.Generator) -> list[Return]:
    """Every comeback, in order of time; time to failure is exponential, cut so that it falls inside the record."""
    returns = []
    ordinary = iter(_ORDINARY)
    for visit in visits:
        if not visit.tags & {"comeback", "outstanding_seal"}:
            continue
        left = leaves[id(visit)]
        if left is None:
            raise AssertionError(f"{visit.slot} comes back but never left")
        waited = min(20 + int(rng.exponential(90)), _LAST_RETURN - left)
        if "outstanding_seal" in visit.tags:
            said = ("oil on the wheel, brake wet", "transport plug still in, customer's seal never fitted", "no")
            waited = min(waited, 30)
        else:
            said = next((_FINDINGS[tag] for tag in _FINDINGS if tag in visit.tags), None) or next(ordinary)
        day = dates.working_day(left + waited)
        returns.append(Return(visit, day, *said, hours=int(waited * rng.uniform(0.6, 2.5))))
    return sorted(returns, key=lambda r: (r.day, r.visit.slot))


def rebuilt_again(returns: list[Return]) -> list[Visit]:
    """New visits of the cases that were rebuilt after they came back."""
    again = []
    for number, back in enumerate(r for r in returns if "again" in r.visit.tags):
        first = back.visit
        technician = {"Birch": "Ash"}.get(first.technician, "Birch")
        day = dates.working_days_after(back.day, 6)
        again.append(
            Visit(
                first.case_type, (20, number), day, technician=technician,
                gauge="FG-1" if technician == "Ash" else "FG-2", batch=first.batch, variant=first.variant,
                casting=first.casting, serial=first.serial, rebuild=first.rebuild + 1, case_shift=first.case_shift,
                extra_recess=first.extra_recess, tags={"after_comeback"}, earlier=first,
            )
        )  # fmt: skip
    return again


def as_returned(returns: list[Return], rng: np.random.Generator) -> list[tuple[str, ...]]:
    """Readings of marine units as they came back, before strip, by the inspector."""
    rows: list[tuple[str, ...]] = []
    for back in returns:
        visit = back.visit
        if "comeback" not in visit.tags:
            continue
        loose = bool(visit.tags & set(_FINDINGS))
        torque = float(rng.uniform(1, 3)) if loose else float(rng.uniform(7, 10))
        code, thou = ("input_float", 4.5) if visit.case_type == "LR-2" else ("clutch_shaft_float", 6.5)
        conditions = "pushed_and_pulled" if visit.case_type == "LR-3" else ""
        end_float = round((thou + float(rng.normal(0, 0.5))) * 2) / 2
        for minutes, what in enumerate(
            (
                ("turning_torque", f"{round(torque * 2) / 2:g}", "TQ-1", "rotating oiled seal"),
                (code, f"{end_float:g}", "DT-1", conditions),
            )
        ):
            name, text, gauge, words = what
            at = dates.write(dates.moment(back.day, 14 * 60 + 5 * minutes))
            rows.append(
                (visit.job, name, "return", "", "1", text, "", gauge, "Heron", at, words, "as received", "", "")
            )
    return rows
