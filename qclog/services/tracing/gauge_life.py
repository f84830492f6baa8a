"""The life of one gauge: what happened to it and how far it was off, and what it read while it was in doubt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from qclog.charts.picture import GaugePicture
from qclog.domain import stored
from qclog.domain.moments import in_zone
from qclog.errors import UnknownNameError
from qclog.measures.gauge_trust import DOUBT, STATES, agrees, is_off, off_by, tolerance_of, trust_at
from qclog.services.tracing.gauge_days import reason_text
from qclog.services.tracing.shop import Shop


@dataclass(frozen=True, slots=True)
class GaugeStretch:
    """A time for which a gauge was right, in doubt or not known (ends in UTC, None: open), and what it read in it."""

    state: str
    since: datetime | None
    until: datetime | None
    why: str
    readings: int
    jobs: tuple[str, ...]
    here: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GaugeLife:
    """Events, oldest first, each with reading less reference in its unit (None: no comparison) and whether it was good,
    bad or neither; `stretches` in which it read anything, oldest first.
    """

    gauge: stored.Gauge
    tolerance: float
    events: tuple[tuple[stored.GaugeEvent, float | None, str], ...]
    stretches: tuple[GaugeStretch, ...]

    @property
    def doubtful(self) -> tuple[GaugeStretch, ...]:
        """Those in doubt."""
        return tuple(s for s in self.stretches if s.state == DOUBT)


def life_of(shop: Shop, name: str) -> GaugeLife:
    """The life of the gauge `name`. UnknownNameError if the log has none."""
    gauge = shop.gauges.get(name)
    if gauge is None:
        known = ", ".join(sorted(shop.gauges))
        raise UnknownNameError("the log has no such gauge", field="gauge", found=name, hint=f"it has {known}")
    events = shop.events_of(name)
    told = tuple((e, off_by(e), "good" if agrees(gauge, e) else "bad" if is_off(gauge, e) else "") for e in events)
    own = shop.trusted.filter(pl.col("gauge") == name).sort("taken_at")
    stretches = []
    for (state, since, until), rows in own.group_by(["state", "since", "until"], maintain_order=True):
        first = rows["taken_at"][0]
        jobs = tuple(rows["job"].unique(maintain_order=True))
        why = reason_text(trust_at(gauge, events, first), shop.zone)
        here = tuple(job for job in jobs if shop.is_here(job))
        stretches.append((first, GaugeStretch(str(state), since, until, why, len(rows), jobs, here)))
    stretches.sort(key=lambda s: (s[0], STATES.index(s[1].state)))
    return GaugeLife(gauge, tolerance_of(gauge), told, tuple(s for _, s in stretches))


def picture_of_life(life: GaugeLife, shop: Shop) -> GaugePicture | None:
    """The life as it is drawn; None while nothing happened to the gauge and nothing was read with it."""

    def local(moment: datetime) -> datetime:
        return in_zone(moment, shop.zone).replace(tzinfo=None)

    own = shop.trusted.filter(pl.col("gauge") == life.gauge.gauge)["taken_at"]
    moments = [e.checked_at for e, _, _ in life.events] + [m for m in (own.min(), own.max()) if isinstance(m, datetime)]
    if not moments:
        return None
    room = max((max(moments) - min(moments)) * 0.03, timedelta(days=1))
    first, last = min(moments) - room, max(moments) + room
    return GaugePicture(
        life.gauge.unit,
        life.tolerance,
        local(first),
        local(last),
        tuple((local(e.checked_at), off, good or "no verdict") for e, off, good in life.events if off is not None),
        tuple((local(e.checked_at), e.event) for e, off, _ in life.events if off is None),
        tuple((local(s.since or first), local(s.until or last), s.why) for s in life.doubtful),
    )
