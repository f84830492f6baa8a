"""Gauges and technicians: departures throughout, from some day on, between two days, since a recorded event."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log

import numpy as np

from qclog.watch.departures import (
    DRAWN_IN,
    MOST_SHARE,
    RELUCTANCE,
    SHORTEST,
    SHORTEST_OF_A_PERSON,
    Departure,
    tally,
)
from qclog.watch.evidence import Bools, Evidence, Members
from qclog.watch.observations import PERSON
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import best_together, sharpen, stretches

FINEST = 2500  # pieces into which a gauge's or person's time is cut at most
SPANS_AT_ONCE = 8192  # few enough that their figures stay in the processor's cache


Kept = dict[tuple[str, int], tuple[Departure | None, int]]  # the strongest of each level, and how many were tried


def strongest_stretches(
    evidence: Evidence, members: Members, harmless: float, together: Floats, stretched: Kept
) -> list[Departure]:
    """Of each gauge or technician the strongest: the whole time, from some day on, between two days, since a drop."""
    best: list[Departure] = []
    places = 0
    for level in range(len(members.names)):
        if (members.kind, level) not in stretched:
            reading = members.of(level)
            reading = reading[evidence.counts[reading]]
            stretched[members.kind, level] = (
                _best_stretch(evidence, reading, members.kind, level, harmless, together) if len(reading) else (None, 0)
            )
        found, tried = stretched[members.kind, level]
        places += tried
        if found is not None:
            best.append(found)
    penalty = log(max(1, places)) + log(len(evidence.members)) + RELUCTANCE.get(members.kind, 0.0)
    searched = [replace(d, log_p=d.log_p + penalty) for d in best]
    recorded = _since_events(evidence, members, harmless, together) if members.kind == "gauge" else []
    return sorted((d for d in (*searched, *recorded) if d.log_p < 0), key=lambda d: d.log_p)


def score_again(
    evidence: Evidence, departure: Departure, harmless: float, together: Floats, places: int
) -> Departure | None:
    """The same stretch against the residuals as they are now; None where nothing of it is left."""
    readings = departure.readings[evidence.counts[departure.readings]]
    if not len(readings):
        return None
    visits = _visits(evidence, readings)
    if len(visits.sums) <= _shortest(departure.kind):
        return None
    span = np.array([[0, len(visits.sums) - 1]])
    z, means, allowed = visits.departures(span, harmless, together)
    log_p, k = best_together(z, allowed)
    if not log_p[0] < 0:
        return None
    chosen = np.argsort(-np.where(allowed[0], np.abs(z[0]), 0.0), kind="stable")[: k[0]]
    effects = tuple((int(visits.present[a]), float(means[0, a])) for a in chosen)
    penalty = log(max(1, places)) + log(len(evidence.members)) + RELUCTANCE.get(departure.kind, 0.0)
    return replace(departure, log_p=float(log_p[0]) + penalty, effects=effects)


def places_of(evidence: Evidence, members: Members) -> int:
    """About how many stretches of a kind are looked at: four for each visit."""
    return 4 * len(members.reading) // max(1, len(evidence.aspects))


def _shortest(kind: str) -> int:
    return SHORTEST_OF_A_PERSON if kind == PERSON else SHORTEST


def _since_events(evidence: Evidence, members: Members, harmless: float, together: Floats) -> list[Departure]:
    """Of stretches that begin with a recorded event of a gauge (a drop): few places, so less evidence is enough."""
    found = []
    for gauge, since, until in evidence.events:
        if gauge not in members.names:
            continue
        level = members.names.index(gauge)
        reading = members.of(level)
        when = evidence.taken[reading]
        inside = reading[(when >= since) & (when < until) & evidence.counts[reading]]
        few = len(evidence.events)
        since_then = Departure("gauge", level, 0.0, inside, (), whole=False, places=few)
        scored = score_again(evidence, since_then, harmless, together, few)
        if scored is not None:
            found.append(scored)
    return found


Spans = Integers  # rows of (first visit, one past the last)


@dataclass(frozen=True, slots=True)
class _Visits:
    """The readings of one gauge or person by visit (a job each): running sums over visits, one column an aspect."""

    reading: Integers
    visit: Integers
    present: Integers
    sums: Floats
    squares: Floats
    counts: Floats
    matters: Floats
    whole: Floats

    def inside(self, running: Floats, spans: Spans) -> Floats:
        """Of running sums, what lies in each span."""
        return np.asarray(running[spans[:, 1]] - running[spans[:, 0]])

    def departures(self, spans: Spans, harmless: float, together: Floats) -> tuple[Floats, Floats, Bools]:
        """Of each span: standardised departures, means, and which of them are large enough to matter.

        A level that holds a share of the readings draws the reference toward itself by that share of its departure;
        readings that scatter more than ordinary ones count for less.
        """
        counts = self.inside(self.counts, spans)
        some = np.maximum(counts, 1.0)
        mean = self.inside(self.sums, spans) / some
        others = 1.0 - np.minimum(counts / self.whole, MOST_SHARE)
        scatter = np.maximum(1.0, self.inside(self.squares, spans) / some - mean**2) * together[self.present]
        means = mean / others
        known = counts * others / scatter
        z = means * np.sqrt(known / (1.0 + harmless**2 * known))
        return z, means, (np.abs(means) >= self.inside(self.matters, spans) / some) & (counts > 0)


def _visits(evidence: Evidence, reading: Integers) -> _Visits:
    present, column = np.unique(evidence.aspect[reading], return_inverse=True)
    visit = np.cumsum(np.concatenate([[True], np.diff(evidence.job[reading]) != 0])) - 1
    if visit[-1] >= 2 * FINEST:  # so many that a few together are one
        visit //= -(-int(visit[-1] + 1) // FINEST)
    n, width = int(visit[-1]) + 1, len(present)
    cell = visit * width + column

    def running(weights: Floats | None) -> Floats:
        cells = tally(cell, n * width, weights).reshape(n, width)
        return np.concatenate([np.zeros((1, width)), np.cumsum(cells, axis=0)])

    drawn = np.clip(evidence.z[reading], -DRAWN_IN, DRAWN_IN)
    sums, squares, counts, matters = (running(w) for w in (drawn, drawn**2, None, evidence.matters[reading]))
    return _Visits(reading, visit, present, sums, squares, counts, matters, evidence.aspect_size[present])


def _best_stretch(
    evidence: Evidence, reading: Integers, kind: str, level: int, harmless: float, together: Floats
) -> tuple[Departure | None, int]:
    visits = _visits(evidence, reading)
    n = int(visits.visit[-1]) + 1
    shortest = _shortest(kind)
    spans = stretches(n, shortest)
    least, at, several = 0.0, -1, 0
    for first in range(0, len(spans), SPANS_AT_ONCE):
        z, _, allowed = visits.departures(spans[first : first + SPANS_AT_ONCE], harmless, together)
        log_p, k = best_together(z, allowed)
        here = int(np.argmin(log_p))
        if log_p[here] < least:
            least, at, several = float(log_p[here]), first + here, int(k[here])
    if at < 0:
        return None, len(spans)
    z, means, allowed = (part[0] for part in visits.departures(spans[at : at + 1], harmless, together))
    chosen = np.argsort(-np.where(allowed, np.abs(z), 0.0))[:several]
    start, end = _sharpen(visits.sums, visits.counts, spans[at], chosen, np.sign(means[chosen]))
    if end - start < shortest:
        start, end = int(spans[at][0]), int(spans[at][1])
    _, sharper, large = (part[0, chosen] for part in visits.departures(np.array([[start, end]]), harmless, together))
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
    )
    return departure, len(spans)


def _sharpen(sums: Floats, counts: Floats, span: Integers, chosen: Integers, signs: Floats) -> tuple[int, int]:
    """Move the ends of a stretch to where the departure is strongest."""
    s = sums[:, chosen] @ signs
    c = counts[:, chosen].sum(axis=1)

    def strength(start: Integers | int, end: Integers | int) -> Floats:
        n = c[end] - c[start]
        return np.where(n > 0, (s[end] - s[start]) / np.sqrt(np.maximum(n, 1.0)), -np.inf)

    return sharpen(int(span[0]), int(span[1]), len(s) - 1, strength, shortest=1, least_reach=4)
