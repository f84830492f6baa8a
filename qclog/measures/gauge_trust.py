"""How far a gauge could be trusted when a reading was taken with it: right, in doubt or not known.

It is known to have been right only between two good checks with nothing between them. A bad check, a drop, use while
withdrawn or an overdue calibration puts in doubt all that was read since the last good check and until the next, as a
gauge found unfit calls into question what it measured before (ISO 9001:2015, 7.1.5.2, and ISO 10012:2003, 8.3.3).
Everything else is not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from qclog.domain import stored
from qclog.domain.quantities import units
from qclog.errors import UnitError

RIGHT, DOUBT, UNKNOWN = "right", "in doubt", "not known"
STATES = (DOUBT, UNKNOWN, RIGHT)  # the one that asks for most first


@dataclass(frozen=True, slots=True)
class Trust:
    """How a gauge stood at one moment.

    last_good, next_good : the good checks on either side that vouch for it; None where there is none, or where it was
    calibrated or repaired before the next one, so that what it reads then says nothing of before. since, until : the
    stretch for which the same holds: the good checks, or the return from repair or calibration that it ends at; None
    for no end. because : the events that cast doubt, oldest first. due : the day its calibration was due, where it was
    overdue.
    """

    state: str
    last_good: stored.GaugeEvent | None = None
    next_good: stored.GaugeEvent | None = None
    since: datetime | None = None
    until: datetime | None = None
    because: tuple[stored.GaugeEvent, ...] = ()
    due: date | None = None


def trust_at(gauge: stored.Gauge, events: Sequence[stored.GaugeEvent], moment: datetime) -> Trust:
    """How `gauge` stood at `moment` (UTC), from its own `events`, oldest first."""
    begin, earlier = _look_back(gauge, [e for e in events if e.checked_at <= moment])
    end, later = _look_on(gauge, [e for e in events if e.checked_at > moment])
    last_good = begin if begin is not None and begin.event != "returned" else None
    next_good = end if end is not None and end.event == "check" else None
    because = (*earlier, *later)
    due = overdue_since(gauge, events, moment)
    if because or due is not None:
        state = DOUBT
    else:
        state = RIGHT if last_good is not None and next_good is not None else UNKNOWN
    since, until = (None if e is None else e.checked_at for e in (begin, end))
    return Trust(state, last_good, next_good, since, until, because, due)


def _look_back(
    gauge: stored.Gauge, before: Sequence[stored.GaugeEvent]
) -> tuple[stored.GaugeEvent | None, list[stored.GaugeEvent]]:
    doubts: list[stored.GaugeEvent] = []
    for event in reversed(before):
        if event.event == "returned" or agrees(gauge, event):
            return event, doubts
        if event.event == "calibrated" and not is_off(gauge, event):
            return event, doubts
        if event.event in ("dropped", "withdrawn") or is_off(gauge, event):
            doubts.insert(0, event)
    return None, doubts


def _look_on(
    gauge: stored.Gauge, after: Sequence[stored.GaugeEvent]
) -> tuple[stored.GaugeEvent | None, list[stored.GaugeEvent]]:
    doubts: list[stored.GaugeEvent] = []
    for event in after:
        if event.event in ("calibrated", "returned") or (event.event == "check" and agrees(gauge, event)):
            return event, doubts
        if is_off(gauge, event) or event.event == "dropped":
            doubts.append(event)
    return None, doubts


def overdue_since(gauge: stored.Gauge, events: Iterable[stored.GaugeEvent], moment: datetime) -> date | None:
    """The day its calibration was due, if `moment` is after that day and it had not been calibrated since."""
    due = gauge.calibration_due
    if due is None or moment.date() <= due:
        return None
    done = (e.checked_at for e in events if e.event == "calibrated")
    return None if any(due < at.date() and at <= moment for at in done) else due


def tolerance_of(gauge: stored.Gauge) -> float:
    """How far a check may be off, in the gauge's unit: what the workshop set for it, else one step."""
    return gauge.step if gauge.tolerance is None else gauge.tolerance


def agrees(gauge: stored.Gauge, event: stored.GaugeEvent) -> bool:
    """Whether an event is a comparison with a reference that was within tolerance."""
    off = _off_in_its_unit(gauge, event)
    return off is not None and abs(off) <= tolerance_of(gauge) * (1 + 1e-9)


def is_off(gauge: stored.Gauge, event: stored.GaugeEvent) -> bool:
    """Whether an event is a comparison with a reference that was out of tolerance, or can't be told."""
    return off_by(event) is not None and not agrees(gauge, event)


def off_by(event: stored.GaugeEvent) -> float | None:
    """Reading less reference, in the unit of the check; None where it was no comparison."""
    return None if event.reading is None or event.reference is None else event.reading - event.reference


def _off_in_its_unit(gauge: stored.Gauge, event: stored.GaugeEvent) -> float | None:
    off = off_by(event)
    if off is None:
        return None
    try:
        return off * float(units.factor(event.unit or gauge.unit, gauge.unit))
    except UnitError:
        return None
