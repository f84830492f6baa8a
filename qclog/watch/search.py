"""The search for common causes: the strongest departure, over every identifier, its effect taken out, and again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log

import numpy as np

from qclog.watch.evidence import Evidence, Members
from qclog.watch.residuals import Floats, Integers, refer_again
from qclog.watch.scoring import EXACT_FOR, MOST_TOGETHER, best_together, standardised, stretches

LEAST_HARMLESS = {"machining_batch": 0.05, "lot": 0.15, "gauge": 0.15, "technician": 0.15}
MOST_HARMLESS = 0.30
ALPHA_GROUP = 0.1
ALPHA_SINGLE = 0.7
SHORTEST = 3
MOST_FINDINGS = 400
MOST_SHARE = 0.5
MOST_OF_ONE = 8
MOST_OF_A_CASE = 3
FEWEST_IN_CELL, FEWEST_CELLS = 3, 12
OVER_TIME = ("gauge", "technician")
WHOLE = ("machining_batch", "lot", "case_serial")


@dataclass(frozen=True, slots=True)
class Departure:
    """One identifier's departure: which readings, which aspects, how far each in spreads, and log of its chance.

    `log_p` allows for every place searched: `penalty` of it for the levels and stretches, the rest for the choice
    among `many` aspects. `slope` says that the effects are per rebuild.
    """

    kind: str
    level: int
    log_p: float
    readings: Integers
    effects: tuple[tuple[int, float], ...]
    whole: bool
    open_ended: bool
    penalty: float = 0.0
    many: int = 1
    harmless: float = 0.0
    slope: bool = False
    wider: bool = False


def search(evidence: Evidence) -> list[Departure]:
    """Departures, in the order in which they were taken out. `evidence.z` is left without their effects.

    The search is run twice: what the first found is taken out of the references that the second measures against.
    """
    original, counted = evidence.z.copy(), evidence.counts.copy()
    if _take_out_all(evidence):
        again, factor = refer_again(original, evidence.z, evidence.series)
        evidence.spread = evidence.spread * factor
        evidence.z, evidence.counts = again, counted
        evidence.original = again.copy()
        return _take_out_all(evidence)
    evidence.original = original
    return []


def _take_out_all(evidence: Evidence) -> list[Departure]:
    found: list[Departure] = []
    harmless = {kind: harmless_spread(evidence, members) for kind, members in evidence.members.items()}
    stretched: dict[tuple[str, int], tuple[Departure | None, int]] = {}
    while len(found) < MOST_FINDINGS:
        groups = [
            _strongest(evidence, members, harmless[kind], stretched)
            for kind, members in evidence.members.items()
            if kind != "case_serial"
        ]
        group = min((d for d in groups if d is not None), key=lambda d: d.log_p, default=None)
        if group is not None and group.log_p > log(ALPHA_GROUP):
            group = None
        singles = _odd_cases(evidence, evidence.members["case_serial"])
        chosen = [d for d in singles if group is None or d.log_p < group.log_p] or ([group] if group else [])
        if not chosen:
            break
        for departure in chosen:
            take_out(evidence, departure)
            _forget_touched(evidence, departure, stretched)
        found += chosen
        if group and sum(d.kind == group.kind and d.level == group.level for d in found) > MOST_OF_ONE:
            break
    return found


def _forget_touched(
    evidence: Evidence, taken_out: Departure, stretched: dict[tuple[str, int], tuple[Departure | None, int]]
) -> None:
    """Of the stretches worked out before, drop those of levels whose readings have just changed."""
    touched = np.zeros(len(evidence.z), dtype=bool)
    touched[taken_out.readings] = True
    for kind in OVER_TIME:
        members = evidence.members[kind]
        for level in np.unique(members.level[touched[members.reading]]):
            stretched.pop((kind, int(level)), None)


def alpha_of(kind: str) -> float:
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


def harmless_spread(evidence: Evidence, members: Members) -> float:
    """How much the levels of a kind differ anyway, in spreads: small differences between sound gauges, lots, people.

    From the middle of the squared standardised means, which a few true faults hardly move.
    """
    least = LEAST_HARMLESS.get(members.kind, 0.1)
    if members.kind in ("case_serial", "rebuilt") or not len(members.reading):
        return least
    width = len(evidence.aspects)
    cell = members.level * width + evidence.aspect[members.reading]
    size = len(members.names) * width
    counts = np.bincount(cell, minlength=size).astype(float)
    sums = np.bincount(cell, weights=evidence.z[members.reading], minlength=size)
    enough = counts >= FEWEST_IN_CELL
    if enough.sum() < FEWEST_CELLS:
        return max(least, 0.15)
    ratio = float(np.median(sums[enough] ** 2 / counts[enough])) / 0.4549
    spread = np.sqrt(max(0.0, ratio - 1.0) / float(np.median(counts[enough])))
    return float(np.clip(spread, least, MOST_HARMLESS))


def _strongest(
    evidence: Evidence,
    members: Members,
    harmless: float,
    stretched: dict[tuple[str, int], tuple[Departure | None, int]],
) -> Departure | None:
    if not len(members.reading):
        return None
    if members.kind in OVER_TIME:
        return _strongest_stretch(evidence, members, harmless, stretched)
    if members.kind == "rebuilt":
        return _strongest_slope(evidence, members, harmless)
    return _strongest_level(evidence, members, harmless)


def _strongest_level(evidence: Evidence, members: Members, harmless: float) -> Departure | None:
    """The strongest among levels looked at whole: batches and lots."""
    strongest = _whole_levels(evidence, members, harmless, most=1)
    return strongest[0] if strongest else None


def _odd_cases(evidence: Evidence, members: Members) -> list[Departure]:
    """Every single case that is odd enough, strongest first."""
    return [d for d in _whole_levels(evidence, members, 0.0, most=EXACT_FOR) if d.log_p <= log(ALPHA_SINGLE)]


def _whole_levels(evidence: Evidence, members: Members, harmless: float, *, most: int) -> list[Departure]:
    use = evidence.counts[members.reading]
    reading, level = members.reading[use], members.level[use]
    if not len(reading):
        return []
    width = len(evidence.aspects)
    cell = level * width + evidence.aspect[reading]
    shape = (len(members.names), width)
    size = shape[0] * width
    counts = _tally(cell, size).reshape(shape)
    sums = _tally(cell, size, evidence.z[reading]).reshape(shape)
    matters = _tally(cell, size, evidence.matters[reading]).reshape(shape)
    single = members.kind == "case_serial"
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = np.nan_to_num(matters / counts)
        if single:
            share = np.zeros(shape)
        else:
            share = np.nan_to_num(_tally(cell, size, _shares(evidence, reading, level)).reshape(shape) / counts)
    z, means = _against_the_rest(sums, counts, share, harmless)
    if not single:
        z[_jobs_of(evidence, reading, level, shape[0]) < 2] = 0.0
    log_p, k = best_together(z, np.abs(means) >= limit, MOST_OF_A_CASE if single else MOST_TOGETHER)
    penalty = log(max(1, shape[0])) + (0.0 if single else log(len(evidence.members)))
    log_p = log_p + penalty
    ends = np.searchsorted(members.level, np.arange(len(members.names) + 1))
    found = []
    for at in np.argsort(log_p, kind="stable")[:most]:
        if log_p[at] >= 0:
            break
        aspects = np.argsort(-np.where(np.abs(means[at]) >= limit[at], np.abs(z[at]), 0.0))[: k[at]]
        found.append(
            Departure(
                members.kind,
                int(at),
                float(log_p[at]),
                members.reading[ends[at] : ends[at + 1]],
                tuple((int(a), float(means[at, a])) for a in aspects),
                whole=True,
                open_ended=False,
                penalty=penalty,
                many=int((z[at] != 0).sum()),
                harmless=harmless,
            )
        )
    return found


def _jobs_of(evidence: Evidence, reading: Integers, level: Integers, levels: int) -> Integers:
    pairs = np.unique(level * len(evidence.jobs) + evidence.job[reading])
    return np.bincount(pairs // len(evidence.jobs), minlength=levels)


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


def _strongest_slope(evidence: Evidence, members: Members, harmless: float) -> Departure | None:
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
            z = np.nan_to_num(xz / np.sqrt(xx + (harmless * xx) ** 2))
        log_p, k = best_together(z[None, :], (np.abs(slope) >= 0.35)[None, :])
        penalty = log(len(members.names)) + log(len(evidence.members))
        total = float(log_p[0]) + penalty
        if total < 0 and (best is None or total < best.log_p):
            order = np.argsort(-np.where(np.abs(slope) >= 0.35, np.abs(z), 0.0))[: k[0]]
            effects = tuple((int(a), float(slope[a])) for a in order)
            rebuilt = mine[again > 0]
            best = Departure(
                "rebuilt",
                level,
                total,
                rebuilt,
                effects,
                whole=True,
                open_ended=True,
                penalty=penalty,
                many=int((z != 0).sum()),
                harmless=harmless,
                slope=True,
            )
    return best


def _strongest_stretch(
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
        counts, sums = _tally(aspect, width), _tally(aspect, width, evidence.z[inside])
        matters = _tally(aspect, width, evidence.matters[inside])
        z, means = _against_the_rest(sums, counts, counts / evidence.aspect_size, harmless)
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


def _best_stretch(
    evidence: Evidence, reading: Integers, kind: str, level: int, harmless: float
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
    sums = _running(_tally(cell, n * width, evidence.z[reading]).reshape(n, width))
    counts = _running(_tally(cell, n * width).reshape(n, width))
    matters = _running(_tally(cell, n * width, evidence.matters[reading]).reshape(n, width))
    s = sums[spans[:, 1]] - sums[spans[:, 0]]
    c = counts[spans[:, 1]] - counts[spans[:, 0]]
    m = matters[spans[:, 1]] - matters[spans[:, 0]]
    whole = evidence.aspect_size[present][None, :]
    z, means = _against_the_rest(s, c, c / whole, harmless)
    with np.errstate(invalid="ignore", divide="ignore"):
        allowed = np.abs(means) >= np.nan_to_num(m / c)
    log_p, k = best_together(z, allowed & (c > 0))
    at = int(np.argmin(log_p))
    if log_p[at] >= 0:
        return None, len(spans)
    chosen = np.argsort(-np.where(allowed[at], np.abs(z[at]), 0.0))[: k[at]]
    start, end = _sharpen(sums, counts, spans[at], chosen, np.sign(s[at, chosen]))
    n_in = counts[end, chosen] - counts[start, chosen]
    mean_in = (
        (sums[end, chosen] - sums[start, chosen])
        / np.maximum(n_in, 1.0)
        / (1 - np.minimum(n_in / whole[0, chosen], MOST_SHARE))
    )
    limit = (matters[end, chosen] - matters[start, chosen]) / np.maximum(n_in, 1.0)
    if (np.abs(mean_in) < limit).any():  # stretched over sound readings: the plain stretch says it better
        start, end = int(spans[at][0]), int(spans[at][1])
        mean_in = means[at, chosen]
    inside = reading[(visit >= start) & (visit < end)]
    effects = [(int(present[a]), float(mean)) for a, mean in zip(chosen, mean_in, strict=True)]
    departure = Departure(
        kind,
        level,
        float(log_p[at]),
        inside,
        tuple(effects),
        whole=start == 0 and end == n,
        open_ended=end == n,
        many=int((z[at] != 0).sum()),
        harmless=harmless,
    )
    return departure, len(spans)


def _tally(cell: Integers, size: int, weights: Floats | None = None) -> Floats:
    return np.asarray(np.bincount(cell, weights=weights, minlength=size), dtype=np.float64)


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
