"""Which gauges could not be trusted at a time: dropped, withdrawn or found off, and not cleared since."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from qclog.domain import stored
from qclog.domain.quantities import units
from qclog.errors import UnitError


def doubt_of(gauge: stored.Gauge, events: Iterable[stored.GaugeEvent], taken_at: datetime) -> datetime | None:
    """Since when a gauge had been dropped, withdrawn or found off, when a reading was taken with it; None for sound.

    `events` are the gauge's own, oldest first (rows of the query `gauge_checks`). A check that agrees with its
    reference within one step clears it, and as the first thing after the reading clears the reading too; a
    calibration or return clears what comes after it only.
    """
    since: datetime | None = None
    for event in events:
        what, sound = event.event, event.event == "check" and agrees(gauge, event)
        if event.checked_at > taken_at and what != "dropped":
            return None if sound else since
        if event.checked_at > taken_at:
            continue
        if sound or what in ("calibrated", "returned"):
            since = None
        elif what != "check" or _is_off(gauge, event):
            since = since or event.checked_at
    return since


def overdue_since(gauge: stored.Gauge, events: Iterable[stored.GaugeEvent], taken_at: datetime) -> date | None:
    """The day its calibration was due, if a reading was taken with it after that day and before it was calibrated."""
    due: date | None = gauge.calibration_due
    if due is None or taken_at.date() <= due:
        return None
    done = (e.checked_at for e in events if e.event == "calibrated")
    return None if any(due < moment.date() and moment <= taken_at for moment in done) else due


def _is_off(gauge: stored.Gauge, event: stored.GaugeEvent) -> bool:
    return event.reference is not None and event.reading is not None and not agrees(gauge, event)


def agrees(gauge: stored.Gauge, event: stored.GaugeEvent) -> bool:
    """Whether a check read its reference within one step of the gauge."""
    if event.reference is None or event.reading is None:
        return False
    off = abs(event.reading - event.reference)
    try:
        factor = float(units.factor(event.unit or gauge.unit, gauge.unit))
    except UnitError:
        return False
    return bool(off * factor <= gauge.step * (1 + 1e-9))


def off_by(check: stored.GaugeEvent) -> float | None:
    """Reading less reference, in the unit of the check; None where it was no comparison."""
    return None if check.reading is None or check.reference is None else check.reading - check.reference
