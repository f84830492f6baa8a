"""Gauges and technicians: departures throughout, from some day on, between two days, since a recorded event."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log

import numpy as np

from qclog.watch.departures import SHORTEST, Departure, against_the_rest, tally
from qclog.watch.evidence import Bools, Evidence, Members
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import best_together, stretches

SPANS_AT_ONCE = 8192  # few enough that their figures stay in the processor's cache


def strongest_stretch(
    evidence: Evidence,
    members: Members,
    harmless: float,
    stretched: dict[tuple[str, int], tuple[Departure | None, int]],
) -> Departure | None:
    """Gauges and technicians: the whole time, from some day on, or between two days."""
    best: Departure | None = None
    ends = np.searchsorted(members.level, np.arange(len(members.names) + 1))
    places = 0
    for level in range(len(members.names)):
        reading = members.reading[ends[level] : ends[level + 1]]
        reading = reading[evidence.counts[reading]]
        if not len(reading):
            continue
        if (members.kind, level) not in stretched:
            stretched[members.kind, level] = _best_stretch(evidence, reading, members.kind, level, harmless)
        found, tried = stretched[members.kind, level]
        places += tried
        if found is not None and (best is None or found.log_p < best.log_p):
            best = found
    if best is None:
        return None
    penalty = log(max(1, places)) + log(len(evidence.members))
    searched = replace(best, log_p=best.log_p + penalty, penalty=penalty)
    recorded = _strongest_event(evidence, members, harmless) if members.kind == "gauge" else None
    strongest = min((d for d in (searched, recorded) if d is not None), key=lambda d: d.log_p)
    return strongest if strongest.log_p < 0 else None


def _strongest_event(evidence: Evidence, members: Members, harmless: float) -> Departure | None:
    """Among stretches that begin with a recorded event of a gauge (a drop): few places, so less evidence is enough."""
    best: Departure | None = None
    penalty = log(max(1, len(evidence.events))) + log(len(evidence.members))
    for gauge, since, until in evidence.events:
        if gauge not in members.names:
            continue
        level = members.names.index(gauge)
        reading = members.reading[members.level == level]
        when = evidence.taken[reading]
        inside = reading[(when >= since) & (when < until) & evidence.counts[reading]]
        if len(np.unique(evidence.job[inside])) < SHORTEST:
            continue
        width = len(evidence.aspects)
        aspect = evidence.aspect[inside]
        counts, sums = tally(aspect, width), tally(aspect, width, evidence.z[inside])
        matters = tally(aspect, width, evidence.matters[inside])
        z, means = against_the_rest(sums, counts, counts / evidence.aspect_size, harmless)
        limit = matters / np.maximum(counts, 1.0)
        log_p, k = best_together(z[None, :], (np.abs(means) >= limit)[None, :])
        total = float(log_p[0]) + penalty
        if best is None or total < best.log_p:
            order = np.argsort(-np.where(np.abs(means) >= limit, np.abs(z), 0.0))[: k[0]]
            effects = tuple((int(a), float(means[a])) for a in order)
            best = Departure(
                "gauge",
                level,
                total,
                inside,
                effects,
                whole=False,
                open_ended=False,
                penalty=penalty,
                many=int((z != 0).sum()),
                harmless=harmless,
            )
    return best


Spans = Integers  # rows of (first visit, one past the last)


@dataclass(frozen=True, slots=True)
class _Visits:
    """The readings of one gauge or person by visit (a job each): running sums over visits, one column an aspect."""

    reading: Integers
    visit: Integers
    present: Integers
    sums: Floats
    counts: Floats
    matters: Floats
    whole: Floats

    def inside(self, running: Floats, spans: Spans) -> Floats:
        """Of running sums, what lies in each span."""
        return np.asarray(running[spans[:, 1]] - running[spans[:, 0]])

    def departures(self, spans: Spans, harmless: float) -> tuple[Floats, Floats, Bools]:
        """Of each span: standardised departures, means, and which of them are large enough to matter."""
        counts = self.inside(self.counts, spans)
        z, means = against_the_rest(self.inside(self.sums, spans), counts, counts / self.whole, harmless)
        with np.errstate(invalid="ignore", divide="ignore"):
            large = np.abs(means) >= np.nan_to_num(self.inside(self.matters, spans) / counts)
        return z, means, large & (counts > 0)


def _visits(evidence: Evidence, reading: Integers) -> _Visits:
    present, column = np.unique(evidence.aspect[reading], return_inverse=True)
    visit = np.cumsum(np.concatenate([[True], np.diff(evidence.job[reading]) != 0])) - 1
    n, width = int(visit[-1]) + 1, len(present)
    cell = visit * width + column

    def running(weights: Floats | None) -> Floats:
        cells = tally(cell, n * width, weights).reshape(n, width)
        return np.concatenate([np.zeros((1, width)), np.cumsum(cells, axis=0)])

    sums, counts, matters = (running(w) for w in (evidence.z[reading], None, evidence.matters[reading]))
    return _Visits(reading, visit, present, sums, counts, matters, evidence.aspect_size[present])


def _best_stretch(
    evidence: Evidence, reading: Integers, kind: str, level: int, harmless: float
) -> tuple[Departure | None, int]:
    visits = _visits(evidence, reading)
    n = int(visits.visit[-1]) + 1
    spans = stretches(n, SHORTEST)
    least, at, together = 0.0, -1, 0
    for first in range(0, len(spans), SPANS_AT_ONCE):
        z, _, allowed = visits.departures(spans[first : first + SPANS_AT_ONCE], harmless)
        log_p, k = best_together(z, allowed)
        here = int(np.argmin(log_p))
        if log_p[here] < least:
            least, at, together = float(log_p[here]), first + here, int(k[here])
    if at < 0:
        return None, len(spans)
    z, means, allowed = (part[0] for part in visits.departures(spans[at : at + 1], harmless))
    chosen = np.argsort(-np.where(allowed, np.abs(z), 0.0))[:together]
    start, end = _sharpen(visits.sums, visits.counts, spans[at], chosen, np.sign(means[chosen]))
    _, sharper, large = (part[0, chosen] for part in visits.departures(np.array([[start, end]]), harmless))
    if large.all():
        means = sharper
    else:  # stretched over sound readings: the plain stretch says it better
        start, end, means = int(spans[at][0]), int(spans[at][1]), means[chosen]
    departure = Departure(
        kind,
        level,
        least,
        reading[(visits.visit >= start) & (visits.visit < end)],
        tuple((int(visits.present[a]), float(mean)) for a, mean in zip(chosen, means, strict=True)),
        whole=start == 0 and end == n,
        open_ended=end == n,
        many=int((z != 0).sum()),
        harmless=harmless,
    )
    return departure, len(spans)


def _sharpen(sums: Floats, counts: Floats, span: Integers, chosen: Integers, signs: Floats) -> tuple[int, int]:
    """Move the ends of a stretch to where the departure is strongest."""
    s = sums[:, chosen] @ signs
    c = counts[:, chosen].sum(axis=1)
    start, end = int(span[0]), int(span[1])
    for _ in range(3):
        reach = max(4, (end - start) // 2)
        starts = np.arange(max(0, start - reach), min(end - 1, start + reach) + 1)
        start = int(starts[np.argmax(_strength(s[end] - s[starts], c[end] - c[starts]))])
        ends = np.arange(max(start + 1, end - reach), min(len(s) - 1, end + reach) + 1)
        end = int(ends[np.argmax(_strength(s[ends] - s[start], c[ends] - c[start]))])
    return start, end


def _strength(s: Floats, c: Floats) -> Floats:
    return np.where(c > 0, s / np.sqrt(np.maximum(c, 1.0)), -np.inf)
