"""The search for common causes: the strongest departure, over every identifier, its effect taken out, and again."""

from __future__ import annotations

from math import log

import numpy as np

from qclog.watch.departures import Departure, against_the_rest, tally
from qclog.watch.evidence import Evidence, Members
from qclog.watch.over_time import strongest_stretch
from qclog.watch.residuals import Floats, Integers, refer_again
from qclog.watch.scoring import EXACT_FOR, MOST_TOGETHER, best_together

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
        return strongest_stretch(evidence, members, harmless, stretched)
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
    counts = tally(cell, size).reshape(shape)
    sums = tally(cell, size, evidence.z[reading]).reshape(shape)
    matters = tally(cell, size, evidence.matters[reading]).reshape(shape)
    single = members.kind == "case_serial"
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = np.nan_to_num(matters / counts)
        if single:
            share = np.zeros(shape)
        else:
            share = np.nan_to_num(tally(cell, size, _shares(evidence, reading, level)).reshape(shape) / counts)
    z, means = against_the_rest(sums, counts, share, harmless)
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
