"""All causes found so far, fitted together: each keeps only what the others do not explain as well.

One after the other the first cause takes all it can; together they share fairly. The middle of every series is fitted
with them, so that a cause that holds half of a series is not taken out twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import log

import numpy as np

from qclog.watch.departures import DRAWN_IN, Departure, add, centres, tally
from qclog.watch.evidence import Evidence
from qclog.watch.levels import overlap
from qclog.watch.observations import GROUPS, OVER_TIME, PERSON
from qclog.watch.over_time import places_of
from qclog.watch.residuals import Floats, Integers
from qclog.watch.slow import BLOCKS, smooth

SWEEPS = 4
TOWARD_NONE = 0.3  # readings' worth of weight
ALIKE, NEAR, BETTER = 0.5, 2.0, 1.0  # log of the likelihood: as good, not told apart, better
NOBODY_WITHIN = 4.0  # nobody is named where a thing explains it so nearly as well
FAIR_OVERLAP = 0.35
Scored = Callable[[Departure], Departure | None]


def settle(evidence: Evidence, found: list[Departure], score: Scored, alpha: float) -> list[Departure]:
    """The causes that stand when each is judged with all others out. `evidence.z` is left without their effects.

    `score` judges a departure anew against `evidence.z` as it is then; what is above `alpha` (a log) goes.
    """
    found = fit(evidence, found)
    for _ in range(len(found) + 1):
        judged = [_judge(evidence, d, score) for d in found]
        weak = [i for i, d in enumerate(judged) if d is None or d.log_p > alpha]
        if weak:
            worst = max(weak, key=lambda i: 0.0 if judged[i] is None else judged[i].log_p)  # type: ignore[union-attr]
            found = [replace(d, effects=j.effects) if j is not None else d for d, j in zip(found, judged, strict=True)]
            found = fit(evidence, [d for i, d in enumerate(found) if i != worst])
            continue
        found = fit(evidence, [d for d in judged if d is not None])
        break
    return found


def fit(evidence: Evidence, found: list[Departure]) -> list[Departure]:
    """The departures with the effects that together fit best; `evidence.z` without them and centred."""
    parts = [d.parts(evidence) for d in found]
    columns: dict[int, list[tuple[int, int]]] = {}
    for number, departure in enumerate(found):
        for place, (aspect, *_) in enumerate(parts[number]):
            if departure.curve is None:
                columns.setdefault(aspect, []).append((number, place))
    z = evidence.original.copy()
    slow = [(number, parts[number][0]) for number, d in enumerate(found) if d.curve is not None]
    for _, (_, mine, x, _) in slow:
        z[mine] -= x
    of_aspect = {aspect: np.flatnonzero(evidence.aspect == aspect) for aspect in columns}
    for _ in range(SWEEPS if slow else 1):
        for aspect, at in columns.items():
            mine_of = [parts[n][p][1:3] for n, p in at]
            before = [parts[n][p][3] for n, p in at]
            now = _solve(evidence, z, of_aspect[aspect], mine_of, before)
            for (n, p), effect in zip(at, now, strict=True):
                parts[n][p] = (*parts[n][p][:3], effect)
        left = _without(evidence, z, found, parts)
        for number, (aspect, mine, *_) in slow:
            curve = smooth(left[mine] + parts[number][0][2], BLOCKS[1])
            z[mine] += parts[number][0][2] - curve
            left[mine] += parts[number][0][2] - curve
            parts[number] = [(aspect, mine, curve, 1.0)]
    evidence.z = _without(evidence, z, found, parts)
    return [
        replace(
            d,
            effects=tuple((a, float(e)) for a, _, _, e in mine_of),
            curve=mine_of[0][2] if d.curve is not None else None,
        )
        for d, mine_of in zip(found, parts, strict=True)
    ]


def _without(
    evidence: Evidence, z: Floats, found: list[Departure], parts: list[list[tuple[int, Integers, Floats, float]]]
) -> Floats:
    """Residuals without the fitted effects, each series about 0; slow curves are out of `z` already."""
    left = z.copy()
    for departure, mine_of in zip(found, parts, strict=True):
        if departure.curve is None:
            for _, mine, x, effect in mine_of:
                left[mine] -= effect * x
    return left - centres(evidence, left)[evidence.series]


def _solve(
    evidence: Evidence, z: Floats, at: Integers, mine_of: list[tuple[Integers, Floats]], before: list[float]
) -> list[float]:
    """Least squares of one aspect's residuals on its causes, series centred, wild values drawn in to the fit.

    A little weight toward no effect decides what the readings can't, such as a cause that covers a whole series.
    """
    place = np.full(len(evidence.z), -1)
    place[at] = np.arange(len(at))
    x = np.zeros((len(at), len(mine_of)))
    for column, (mine, each) in enumerate(mine_of):
        x[place[mine], column] = each
    use = evidence.counts[at].astype(float)
    _, series = np.unique(evidence.series[at], return_inverse=True)
    size = int(series.max()) + 1
    count = np.maximum(tally(series, size, use), 1.0)
    centred = np.column_stack(
        [x[:, c] - (tally(series, size, x[:, c] * use) / count)[series] for c in range(x.shape[1])]
    )
    own = z[at]
    matrix = (centred * use[:, None]).T @ centred + np.diag(np.full(x.shape[1], TOWARD_NONE))
    effects = np.asarray(before)
    for _ in range(4):
        fitted = x @ effects
        middle = tally(series, size, np.clip(own - fitted, -DRAWN_IN, DRAWN_IN) * use) / count
        fitted = fitted + middle[series]
        drawn = fitted + np.clip(own - fitted, -2.5, 2.5)
        drawn = drawn - (tally(series, size, drawn * use) / count)[series]
        effects = np.linalg.solve(matrix, centred.T @ (drawn * use))
    return [float(e) for e in effects]


def _judge(evidence: Evidence, departure: Departure, score: Scored) -> Departure | None:
    """The departure scored with itself put back."""
    add(evidence, departure, 1.0)
    judged = score(departure)
    add(evidence, departure, -1.0)
    return judged


def shared_anew(
    evidence: Evidence,
    found: list[Departure],
    look: Callable[[Departure], list[Departure]],
    score: Scored,
    alpha: float,
    together: Floats,
) -> list[Departure]:
    """The causes, with each characteristic given to what explains it best.

    A strong cause that was found first may have claimed what belongs to another that shares its units: every cause is
    put back by itself, `look` finds what else there is, and where that explains a characteristic clearly better the
    characteristic is its own.
    """
    for key in [d.key for d in found]:
        departure = next((d for d in found if d.key == key), None)
        if departure is None or departure.curve is not None or departure.slope or len(departure.effects) < 2:
            continue
        add(evidence, departure, 1.0)
        others = [d for d in look(departure) if not d.alone and d.curve is None and not d.slope and d.log_p <= alpha]
        known = {(d.kind, d.level) for d in found}
        mine = {a for a, _ in departure.effects}
        moved: Departure | None = None
        for other in others:
            shared = [a for a, _ in other.effects if a in mine]
            if (other.kind, other.level) in known or not shared or len(shared) == len(mine):
                continue
            if not len(np.intersect1d(other.readings, departure.readings)):
                continue
            won = {
                a
                for a in shared
                if _gain(evidence, other.readings, np.array([a]), together)
                > _gain(evidence, departure.readings, np.array([a]), together) + BETTER
            }
            if won:
                moved = replace(other, effects=tuple(e for e in other.effects if e[0] in won or e[0] not in mine))
                break
        add(evidence, departure, -1.0)
        if moved is None:
            continue
        given = {a for a, _ in moved.effects}
        kept = tuple(e for e in departure.effects if e[0] not in given)
        trial = [d for d in found if d is not departure] + [replace(departure, effects=kept), moved]
        found = settle(evidence, trial, score, alpha)
    return found


def with_rivals(
    evidence: Evidence, departure: Departure, score: Scored, kinds: tuple[str, ...], together: Floats
) -> Departure:
    """The departure, or what explains the same readings better; with what explains them nearly as well as rivals."""
    if departure.kind not in kinds:
        return departure
    add(evidence, departure, 1.0)
    aspects = np.array([a for a, _ in departure.effects])
    own = _gain(evidence, departure.readings, aspects, together) - _cost(evidence, departure.kind)
    near: list[tuple[float, Departure]] = []
    inside = np.zeros(len(evidence.z), dtype=bool)
    inside[departure.readings] = True
    reach = np.isin(evidence.aspect, aspects)
    first, last = evidence.taken[departure.readings[[0, -1]]]
    at_the_time = (evidence.taken >= first) & (evidence.taken <= last)
    size = max(1, int((inside & reach).sum()))
    for kind in kinds:
        members = evidence.members[kind]
        both = overlap(inside & reach, members)
        for level in np.flatnonzero(both >= FAIR_OVERLAP * size):
            if (kind, int(level)) == (departure.kind, departure.level):
                continue
            theirs = members.of(int(level))
            whole = kind not in OVER_TIME
            if not whole:
                theirs = theirs[at_the_time[theirs]]
            gain = _gain(evidence, theirs, aspects, together) - _cost(evidence, kind)
            if gain >= own - NOBODY_WITHIN:
                other = Departure(kind, int(level), 0.0, theirs, departure.effects, whole=whole)
                scored = score(other)
                if scored is not None:
                    near.append((gain, scored))
    add(evidence, departure, -1.0)
    return _chosen(departure, own, sorted(near, key=lambda n: -n[0]))


def _chosen(departure: Departure, own: float, near: list[tuple[float, Departure]]) -> Departure:
    things = [(gain, d) for gain, d in near if d.kind != PERSON]
    people = [(gain, d) for gain, d in near if d.kind == PERSON]
    best = departure
    if things and (departure.kind == PERSON or things[0][0] > own + BETTER):
        best = things[0][1]
    elif people and people[0][0] > own + NOBODY_WITHIN:
        best = people[0][1]
    elif departure.kind != PERSON:  # of names that are as good the first kind, so that it stays the same
        alike = [departure, *(d for gain, d in things if abs(gain - own) <= ALIKE)]
        best = min(alike, key=lambda d: GROUPS.index(d.kind))
    level = max(own, near[0][0] if near else own)
    rivals = [(d.kind, d.level) for gain, d in near if gain >= level - NEAR]
    if best is not departure and own >= level - NOBODY_WITHIN:
        rivals.append((departure.kind, departure.level))
    return replace(best, rivals=tuple(r for r in dict.fromkeys(rivals) if r != (best.kind, best.level)))


def _cost(evidence: Evidence, kind: str) -> float:
    """What a choice among all levels of a kind, or all their stretches of time, takes from its likelihood."""
    members = evidence.members[kind]
    return log(max(1, places_of(evidence, members) if kind in OVER_TIME else len(members.names)))


def _gain(evidence: Evidence, readings: Integers, aspects: Integers, together: Floats) -> float:
    """How much likelier one shift for each aspect makes these readings: half of n times the squared mean."""
    use = readings[evidence.counts[readings] & np.isin(evidence.aspect[readings], aspects)]
    width = len(evidence.aspects)
    n = tally(evidence.aspect[use], width)
    s = tally(evidence.aspect[use], width, np.clip(evidence.z[use], -DRAWN_IN, DRAWN_IN))
    return float((s[n > 0] ** 2 / n[n > 0] / together[n > 0]).sum()) / 2
