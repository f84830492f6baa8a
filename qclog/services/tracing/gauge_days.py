"""Whether each gauge was right on the day a job was read with it: its checks before and after, and what befell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.services.jobs.jobs import Story
from qclog.services.tracing.gauge_trust import doubt_of, off_by, overdue_since
from qclog.services.tracing.shop import Shop
from qclog.words.numbers import plural

RIGHT, DOUBT, UNCHECKED = "right", "in doubt", "not known"


@dataclass(frozen=True, slots=True)
class GaugeDay:
    """A gauge as it was while a job was read: `state` is right, in doubt or not known; `why` says it in words.

    `off` is what it was found to read too much (below 0: too little) at the next check, in its unit, while in doubt.
    """

    gauge: str
    readings: int
    first: datetime
    last: datetime
    state: str
    why: str
    since: datetime | None = None
    off: float | None = None
    unit: str = ""


def judge_gauges(shop: Shop, story: Story) -> tuple[GaugeDay, ...]:
    """One for each gauge that readings of the job which count were taken with, the doubtful first."""
    used: dict[str, list[datetime]] = {}
    for told in story.readings:
        if told.row.counts and told.row.gauge:
            used.setdefault(told.row.gauge, []).append(told.row.taken_at)
    days = [_judge(shop, gauge, sorted(moments)) for gauge, moments in used.items()]
    order = (DOUBT, UNCHECKED, RIGHT)
    return tuple(sorted(days, key=lambda d: (order.index(d.state), d.gauge)))


def _judge(shop: Shop, gauge: str, moments: Sequence[datetime]) -> GaugeDay:
    zone = shop.zone
    events = [c for c in shop.checks if c.gauge == gauge]
    row = shop.gauges.get(gauge)
    first, last = moments[0], moments[-1]
    if row is None:
        return GaugeDay(gauge, len(moments), first, last, UNCHECKED, "the log does not know this gauge")
    doubts = [since for at in moments if (since := doubt_of(row, events, at)) is not None]
    checks = [e for e in events if e.event == "check" and e.reading is not None and e.reference is not None]
    before = [e for e in checks if e.checked_at <= first]
    after = [e for e in checks if e.checked_at > last]
    said = [
        f"last check before: {_check_text(before[-1], zone)}" if before else "no check before it was used",
        f"next check after: {_check_text(after[0], zone)}" if after else "not checked since",
    ]
    due = overdue_since(row, events, last)
    if due is not None:
        said.insert(0, f"its calibration was due {due}")
    if doubts:
        since = min(doubts)
        what = next(e for e in events if e.checked_at == since)
        note = f" ({what.note})" if what.note else ""
        said.insert(0, f"{_EVENTS[what.event]} {show_moment(since, zone)[:10]}{note} and not cleared")
        if len(doubts) < len(moments):
            said.insert(1, f"{len(doubts)} of its {plural(len(moments), 'reading')} here fall after that")
        off = off_by(after[0]) if after and first < after[0].checked_at else None
        return GaugeDay(
            gauge,
            len(moments),
            first,
            last,
            DOUBT,
            "; ".join(said),
            since,
            off,
            after[0].unit or "" if after else "",
        )
    right = before and after and due is None
    return GaugeDay(gauge, len(moments), first, last, RIGHT if right else UNCHECKED, "; ".join(said))


_EVENTS = {
    "dropped": "dropped",
    "withdrawn": "taken out of use",
    "check": "found off",
    "returned": "returned",
    "calibrated": "calibrated",
}


def _check_text(check: stored.GaugeEvent, zone: ZoneInfo) -> str:
    unit = f" {check.unit}" if check.unit else ""
    return f"{show_moment(check.checked_at, zone)[:10]} read {check.reading:g} on {check.reference:g}{unit}"
