"""The search for common causes: the strongest departure, over every identifier, its effect taken out, and again."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from qclog.watch.evidence import Evidence, Members
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import best_together, standardised, stretches

HARMLESS = 0.15
ALPHA_GROUP = 0.02
ALPHA_SINGLE = 0.5
SHORTEST = 3
MOST_FINDINGS = 400
MOST_SHARE = 0.5
MOST_OF_ONE = 8
OVER_TIME = ("gauge", "technician")
WHOLE = ("machining_batch", "lot", "case_serial")


@dataclass(frozen=True, slots=True)
class Departure:
    """One identifier's departure: which readings, which aspects, how far each in spreads, and log of its chance.

    `log_p` allows for every place searched. `slope` says that the effects are per rebuild.
    """

    kind: str
    level: int
    log_p: float
    readings: Integers
    effects: tuple[tuple[int, float], ...]
    whole: bool
    open_ended: bool
    slope: bool = False
    wider: bool = False


def search(evidence: Evidence) -> list[Departure]:
    """Departures, in the order in which they were taken out. `evidence.z` is left without their effects."""
    found: list[Departure] = []
    while len(found) < MOST_FINDINGS:
        candidates = [_strongest(evidence, members) for members in evidence.members.values()]
        enough = [d for d in candidates if d is not None and d.log_p <= log(_alpha(d.kind))]
        if not enough:
            break
        chosen = min(enough, key=lambda d: d.log_p)
        take_out(evidence, chosen)
        found.append(chosen)
        if sum(d.kind == chosen.kind and d.level == chosen.level for d in found) > MOST_OF_ONE:
            break
    return found


def _alpha(kind: str) -> float:
    return ALPHA_SINGLE if kind == "case_serial" else ALPHA_GROUP


def take_out(evidence: Evidence, departure: Departure) -> None:
    """Subtract a departure's effects from the residuals it explains; a single odd unit is set aside whole."""
    for aspect, effect in departure.effects:
        mine = departure.readings[evidence.aspect[departure.readings] == aspect]
        if departure.kind == "case_serial":
            evidence.z[mine] = 0.0
            evidence.counts[mine] = False
        else:
            evidence.z[mine] -= effect * (evidence.rebuild[mine] - 1.0 if departure.slope else 1.0)


def _strongest(evidence: Evidence, members: Members) -> Departure | None:
    if not len(members.reading):
        return None
    if members.kind in OVER_TIME:
        return _strongest_stretch(evidence, members)
    if members.kind == "rebuilt":
        return _strongest_slope(evidence, members)
    return _strongest_level(evidence, members)


def _strongest_level(evidence: Evidence, members: Members) -> Departure | None:
    """Among levels looked at whole: batches, lots, single cases."""
    use = evidence.counts[members.reading]
    reading, level = members.reading[use], members.level[use]
    if not len(reading):
        return None
    width = len(evidence.aspects)
    cell = level * width + evidence.aspect[reading]
    shape = (len(members.names), width)
    counts = np.bincount(cell, minlength=shape[0] * width).reshape(shape).astype(float)
    sums = np.bincount(cell, weights=evidence.z[reading], minlength=shape[0] * width).reshape(shape)
    matters = np.bincount(cell, weights=evidence.matters[reading], minlength=shape[0] * width).reshape(shape)
    single = members.kind == "case_serial"
    shares = np.bincount(cell, weights=_shares(evidence, reading, level), minlength=shape[0] * width).reshape(shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.nan_to_num(shares / counts)
        limit = np.nan_to_num(matters / counts)
    z, means = _against_the_rest(sums, counts, share, 0.0 if single else HARMLESS)
    if not single:
        jobs = _jobs_of(evidence, reading, level, shape[0])
        z[jobs < 2] = 0.0
    log_p, k = best_together(z, np.abs(means) >= limit)
    log_p = log_p + log(max(1, shape[0])) + (0.0 if single else log(len(evidence.members)))
    at = int(np.argmin(log_p))
    if log_p[at] >= 0:
        return None
    aspects = np.argsort(-np.where(np.abs(means[at]) >= limit[at], np.abs(z[at]), 0.0))[: k[at]]
    effects = tuple((int(a), float(means[at, a])) for a in aspects)
    mine = members.reading[members.level == at]
    return Departure(members.kind, at, float(log_p[at]), mine, effects, whole=True, open_ended=False)


def _shares(evidence: Evidence, reading: Integers, level: Integers) -> Floats:
    """For each reading, the share of its series that its level holds."""
    series = evidence.series[reading]
    pairs = level * (int(evidence.series.max()) + 1) + series
    _, inverse, count = np.unique(pairs, return_inverse=True, return_counts=True)
    return np.asarray(count[inverse] / evidence.series_size[reading])


def _against_the_rest(sums: Floats, counts: Floats, share: Floats, harmless: float) -> tuple[Floats, Floats]:
    """Standardised departure and mean against the others of the same kind.

    A level that holds `share` of the readings draws the reference toward itself by that share of its departure.
    """
    others = 1.0 - np.minimum(share, MOST_SHARE)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.nan_to_num(sums / counts) / others
    return standardised(means * counts * others, counts * others, harmless), means


def _jobs_of(evidence: Evidence, reading: Integers, level: Integers, levels: int) -> Integers:
    pairs = np.unique(level * len(evidence.jobs) + evidence.job[reading])
    return np.bincount(pairs // len(evidence.jobs), minlength=levels)


def _strongest_slope(evidence: Evidence, members: Members) -> Departure | None:
    """Rebuilt cases of a type: a change that grows with each rebuild."""
    best: Departure | None = None
    width = len(evidence.aspects)
    for level in range(len(members.names)):
        number = evidence.case_types.index(members.names[level])
        mine = np.flatnonzero((evidence.case_type == number) & evidence.counts & (evidence.rebuild > 0))
        again = evidence.rebuild[mine] - 1.0
        aspect = evidence.aspect[mine]
        n = np.bincount(aspect, minlength=width).astype(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_x = np.nan_to_num(np.bincount(aspect, weights=again, minlength=width) / n)
            mean_z = np.nan_to_num(np.bincount(aspect, weights=evidence.z[mine], minlength=width) / n)
        x = again - mean_x[aspect]
        xx = np.bincount(aspect, weights=x**2, minlength=width)
        xz = np.bincount(aspect, weights=x * (evidence.z[mine] - mean_z[aspect]), minlength=width)
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = np.nan_to_num(xz / xx)
            z = np.nan_to_num(xz / np.sqrt(xx + (HARMLESS * xx) ** 2))
        log_p, k = best_together(z[None, :], (np.abs(slope) >= 0.35)[None, :])
        total = float(log_p[0]) + log(len(members.names)) + log(len(evidence.members))
        if total < 0 and (best is None or total < best.log_p):
            order = np.argsort(-np.where(np.abs(slope) >= 0.35, np.abs(z), 0.0))[: k[0]]
            effects = tuple((int(a), float(slope[a])) for a in order)
            rebuilt = mine[again > 0]
            best = Departure("rebuilt", level, total, rebuilt, effects, whole=True, open_ended=True, slope=True)
    return best


def _strongest_stretch(evidence: Evidence, members: Members) -> Departure | None:
    """Gauges and technicians: the whole time, from some day on, or between two days."""
    best: Departure | None = None
    ends = np.searchsorted(members.level, np.arange(len(members.names) + 1))
    places = 0
    for level in range(len(members.names)):
        reading = members.reading[ends[level] : ends[level + 1]]
        reading = reading[evidence.counts[reading]]
        if not len(reading):
            continue
        found, tried = _best_stretch(evidence, reading, members.kind, level)
        places += tried
        if found is not None and (best is None or found.log_p < best.log_p):
            best = found
    if best is None:
        return None
    total = best.log_p + log(max(1, places)) + log(len(evidence.members))
    if total >= 0:
        return None
    return Departure(best.kind, best.level, total, best.readings, best.effects, best.whole, best.open_ended)


def _best_stretch(
    evidence: Evidence, reading: Integers, kind: str, level: int
) -> tuple[Departure | None, int]:
    present, column = np.unique(evidence.aspect[reading], return_inverse=True)
    first = np.concatenate([[True], np.diff(evidence.job[reading]) != 0])
    visit = np.cumsum(first) - 1
    n = int(visit[-1]) + 1
    spans = stretches(n, SHORTEST)
    if not len(spans):
        return None, 0
    width = len(present)
    cell = visit * width + column
    sums = _running(np.bincount(cell, weights=evidence.z[reading], minlength=n * width).reshape(n, width))
    counts = _running(np.bincount(cell, minlength=n * width).reshape(n, width).astype(float))
    matters = _running(np.bincount(cell, weights=evidence.matters[reading], minlength=n * width).reshape(n, width))
    s = sums[spans[:, 1]] - sums[spans[:, 0]]
    c = counts[spans[:, 1]] - counts[spans[:, 0]]
    m = matters[spans[:, 1]] - matters[spans[:, 0]]
    whole = evidence.aspect_size[present][None, :]
    z, means = _against_the_rest(s, c, c / whole, HARMLESS)
    with np.errstate(invalid="ignore", divide="ignore"):
        allowed = np.abs(means) >= np.nan_to_num(m / c)
    log_p, k = best_together(z, allowed & (c > 0))
    at = int(np.argmin(log_p))
    if log_p[at] >= 0:
        return None, len(spans)
    chosen = np.argsort(-np.where(allowed[at], np.abs(z[at]), 0.0))[: k[at]]
    start, end = _sharpen(sums, counts, spans[at], chosen, np.sign(s[at, chosen]))
    inside = reading[(visit >= start) & (visit < end)]
    effects = []
    for a in chosen:
        total = counts[end, a] - counts[start, a]
        if total > 0:
            effects.append((int(present[a]), float((sums[end, a] - sums[start, a]) / total)))
    departure = Departure(
        kind, level, float(log_p[at]), inside, tuple(effects), whole=start == 0 and end == n, open_ended=end == n
    )
    return departure, len(spans)


def _running(cells: Floats) -> Floats:
    return np.concatenate([np.zeros((1, cells.shape[1])), np.cumsum(cells, axis=0)])


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


