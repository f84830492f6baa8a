"""Whether each gauge was right when a job was read with it, and why that is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.measures.gauge_trust import DOUBT, RIGHT, STATES, UNKNOWN, Trust, is_off, off_by, trust_at
from qclog.services.jobs.jobs import Story
from qclog.services.tracing.shop import Shop
from qclog.words.numbers import plural

__all__ = ["DOUBT", "RIGHT", "UNKNOWN", "GaugeDay", "judge_gauges", "reason_text"]


@dataclass(frozen=True, slots=True)
class GaugeDay:
    """A gauge as it was while a job was read: `state` is right, in doubt or not known; `why` says it in words.

    `stretch`: the good checks that a doubt reaches back to and on to (None: no end). `off` is what it was found to read
    too much (below 0: too little) by the check that casts doubt, in `unit`.
    """

    gauge: str
    readings: int
    first: datetime
    last: datetime
    state: str
    why: str
    stretch: tuple[datetime | None, datetime | None] = (None, None)
    off: float | None = None
    unit: str = ""


def judge_gauges(shop: Shop, story: Story) -> tuple[GaugeDay, ...]:
    """One for each gauge that readings of the job which count were taken with, the doubtful first."""
    used: dict[str, list[datetime]] = {}
    for told in story.readings:
        if told.row.counts and told.row.gauge:
            used.setdefault(told.row.gauge, []).append(told.row.taken_at)
    days = [_judge(shop, gauge, sorted(moments)) for gauge, moments in used.items()]
    return tuple(sorted(days, key=lambda d: (STATES.index(d.state), d.gauge)))


def _judge(shop: Shop, gauge: str, moments: Sequence[datetime]) -> GaugeDay:
    row = shop.gauges.get(gauge)
    if row is None:
        unknown = "the log does not know this gauge"
        return GaugeDay(gauge, len(moments), moments[0], moments[-1], UNKNOWN, unknown)
    events = shop.events_of(gauge)
    trusts = [(at, trust_at(row, events, at)) for at in moments]
    state = next(s for s in STATES if any(t.state == s for _, t in trusts))
    those = [(at, t) for at, t in trusts if t.state == state]
    at, trust = those[0]
    why = reason_text(trust, shop.zone, at)
    if len(those) < len(moments):
        why += f"; so for {len(those)} of its {plural(len(moments), 'reading')} here"
    found_off = [e for e in trust.because if is_off(row, e)]
    return GaugeDay(
        gauge,
        len(moments),
        moments[0],
        moments[-1],
        state,
        why,
        (trust.since, trust.until),
        off_by(found_off[0]) if found_off else None,
        (found_off[0].unit or row.unit) if found_off else "",
    )


def reason_text(trust: Trust, zone: ZoneInfo, taken_at: datetime | None = None) -> str:
    """Why a gauge was right, in doubt or not known, when a reading was taken with it at `taken_at` if one was."""
    before = f"last good check {_check_text(trust.last_good, zone)}" if trust.last_good else "no good check before"
    after = f"next good check {_check_text(trust.next_good, zone)}" if trust.next_good else "no good check since"
    doubts = [_doubt_text(event, zone, taken_at) for event in trust.because]
    if trust.due is not None:
        doubts.insert(0, f"its calibration was due {trust.due}")
    return "; ".join([*doubts, before, after])


_EVENTS = {"dropped": "dropped", "withdrawn": "taken out of use", "check": "found off", "calibrated": "found off"}


def _doubt_text(event: stored.GaugeEvent, zone: ZoneInfo, taken_at: datetime | None) -> str:
    order = "" if taken_at is None else f"{'before' if event.checked_at <= taken_at else 'after'} it was read, "
    said = f"{_EVENTS.get(event.event, event.event)} {order}{_check_text(event, zone)}"
    return f"{said} ({event.note})" if event.note else said


def _check_text(event: stored.GaugeEvent, zone: ZoneInfo) -> str:
    day = show_moment(event.checked_at, zone)[:10]
    if event.reading is None or event.reference is None:
        return f"{day} (calibrated)" if event.event == "calibrated" else day
    unit = f" {event.unit}" if event.unit else ""
    return f"{day} read {event.reading:g} on {event.reference:g}{unit}"
