"""The search for common causes: the strongest departures over every identifier, then all together, and again."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np

from qclog.watch import joint
from qclog.watch.departures import DRAWN_IN, Departure, centres, take_out, tally
from qclog.watch.evidence import Evidence, Members
from qclog.watch.levels import FEWEST_JOBS, cells_of, strongest_levels
from qclog.watch.observations import ALONE, GROUPS, KINDS, OVER_TIME, WHOLE
from qclog.watch.over_time import Kept, places_of, score_again, strongest_stretches
from qclog.watch.residuals import Floats
from qclog.watch.scoring import EXACT_FOR, best_together
from qclog.watch.slow import drift_of, find_drift, series_of

MOST_HARMLESS = 0.30
ALPHA_GROUP = 0.9
ALPHA_SINGLE = 0.9
ROUNDS = 5
AT_ONCE = 12
MOST_TAKEN = 400
MOST_OF_ONE = 4
LEAST_SLOPE = 0.35
FEWEST_IN_CELL, FEWEST_CELLS = 3, 12
MEDIAN_OF_SQUARES = 0.4549  # of standard normal values: the median of chi-square with one degree of freedom
MOST_TOGETHER_OF_A_DAY = 3.0


def search(evidence: Evidence, known: list[Departure] | None = None) -> list[Departure]:
    """Departures, groups first. `evidence.z` is left without their effects.

    `known` are groups found in a first look, to begin with; None makes this the first look, in which characteristics
    that two causes share are not yet given to the better of them.
    """
    if not len(evidence.z):
        return []
    evidence.original = evidence.original - centres(evidence, evidence.original)[evidence.series]
    evidence.z = evidence.original.copy()
    return _Search(evidence).run(known)


class _Search:
    """One pass over the evidence, with what stays the same through it."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence
        self.cells = {k: cells_of(evidence, evidence.members[k]) for k in (*WHOLE, *ALONE)}
        self.series = series_of(evidence)
        self.series_of = np.full(len(evidence.z), -1)
        for number, mine in enumerate(self.series):
            self.series_of[mine] = number
        self.together = _together(evidence)
        self.harmless: dict[str, float] = {}
        self.stretched: Kept = {}
        self.drifts: dict[int, Departure | None] = {}

    def run(self, known: list[Departure] | None) -> list[Departure]:
        """Groups and single units, the groups fitted together."""
        evidence, counted = self.evidence, self.evidence.counts.copy()
        groups: list[Departure] = []
        self._measure_harmless()
        if known:
            groups = self._settled(known, share=True)
            evidence.counts = counted.copy()
        for _ in range(ROUNDS):
            found = self._greedy()
            before = {d.key for d in groups}
            new = _merged([d for d in found if not d.alone], groups)
            if new:
                groups = self._settled(groups + new, share=known is not None)
                evidence.counts = counted.copy()
            if before == {d.key for d in groups}:
                break
        singles = [d for d in (found if not new else self._greedy(groups=False)) if d.alone]
        return [*groups, *singles]

    def _settled(self, groups: list[Departure], *, share: bool) -> list[Departure]:
        evidence = self.evidence
        groups = joint.settle(evidence, groups, self._score, log(ALPHA_GROUP))
        if not share:
            return groups
        groups = joint.shared_anew(evidence, groups, self._look_again, self._score, log(ALPHA_GROUP), self.together)
        return joint.fit(evidence, self._named(groups))

    def _measure_harmless(self) -> None:
        self.harmless = {k: harmless_spread(self.evidence, m) for k, m in self.evidence.members.items()}

    def _named(self, groups: list[Departure]) -> list[Departure]:
        """Each under the name that explains it best; none twice."""
        named: dict[tuple[str, int, int], Departure] = {}
        for departure in groups:
            d = joint.with_rivals(self.evidence, departure, self._score, GROUPS, self.together)
            named.setdefault((d.kind, d.level, -1) if d.kind in WHOLE else d.key, d)
        return list(named.values())

    def _greedy(self, *, groups: bool = True) -> list[Departure]:
        """The strongest departures one after the other, each taken out before the next is looked for."""
        evidence = self.evidence
        self._measure_harmless()
        self._forget_all()
        look = self._groups if groups else list[Departure]
        found: list[Departure] = []
        taken: dict[tuple[str, int], int] = {}
        while len(found) < MOST_TAKEN:
            several = [
                d for d in look() if d.log_p <= log(ALPHA_GROUP) and taken.get((d.kind, d.level), 0) < MOST_OF_ONE
            ]
            strongest = min((d.log_p for d in several), default=0.0)
            singles = [d for d in self._singles() if d.log_p < strongest]
            chosen = _disjoint(singles, 0.01, len(evidence.z)) or _disjoint(several, 0.1, len(evidence.z))
            if not chosen:
                break
            for departure in chosen:
                take_out(evidence, departure)
                self._forget(departure)
                taken[departure.kind, departure.level] = taken.get((departure.kind, departure.level), 0) + 1
            found += chosen
        return found

    def _groups(self) -> list[Departure]:
        """Every group that departs, strongest first."""
        evidence, found = self.evidence, self._things_and_people()
        found += _slopes(evidence, evidence.members["rebuilt"], self.harmless["rebuilt"])
        for number in range(len(self.series)):
            if number not in self.drifts:
                self.drifts[number] = find_drift(evidence, self.series, number, self.together)
        found += [d for d in self.drifts.values() if d is not None]
        return sorted(found, key=lambda d: d.log_p)

    def _things_and_people(self) -> list[Departure]:
        evidence, found = self.evidence, []
        for kind in GROUPS:
            members, harmless = evidence.members[kind], self.harmless[kind]
            if kind in WHOLE:
                found += strongest_levels(evidence, members, self.cells[kind], harmless, self.together, most=AT_ONCE)
            else:
                found += strongest_stretches(evidence, members, harmless, self.together, self.stretched)
        return sorted(found, key=lambda d: d.log_p)

    def _look_again(self, put_back: Departure) -> list[Departure]:
        """What else there is when one departure is put back."""
        self._forget(put_back)
        found = self._things_and_people()
        self._forget(put_back)
        return found

    def _singles(self) -> list[Departure]:
        found = []
        for kind in ALONE:
            members = self.evidence.members[kind]
            levels = strongest_levels(self.evidence, members, self.cells[kind], 0.0, self.together, most=EXACT_FOR)
            found += [d for d in levels if d.log_p <= log(ALPHA_SINGLE)]
        return sorted(found, key=lambda d: d.log_p)

    def _score(self, departure: Departure) -> Departure | None:
        """The departure judged anew against the residuals as they are."""
        evidence, kind = self.evidence, departure.kind
        members = evidence.members.get(kind)
        if kind == "drift":
            return drift_of(
                evidence, departure.readings, departure.level, places=len(self.series), together=self.together
            )
        if members is None:
            return None
        if kind == "rebuilt":
            slopes = _slopes(evidence, members, self.harmless[kind])
            return next((d for d in slopes if d.level == departure.level), None)
        if kind in OVER_TIME:
            places = departure.places or places_of(evidence, members)
            return score_again(evidence, departure, self.harmless[kind], self.together, places)
        levels = strongest_levels(
            evidence, members, self.cells[kind], self.harmless[kind], self.together, most=1, only=departure.level
        )
        return replace(levels[0], rivals=departure.rivals) if levels else None

    def _forget(self, changed: Departure) -> None:
        """Of what was worked out before, drop what rests on readings that have just changed.

        The middles of their series have moved a little too; that is looked at when all is looked at again.
        """
        evidence = self.evidence
        touched = np.zeros(len(evidence.z), dtype=bool)
        for _, mine, _, _ in changed.parts(evidence):
            touched[mine] = True
        for kind in OVER_TIME:
            members = evidence.members[kind]
            for level in np.unique(members.level[touched[members.reading]]):
                self.stretched.pop((kind, int(level)), None)
        for number in np.unique(self.series_of[touched]):
            self.drifts.pop(int(number), None)

    def _forget_all(self) -> None:
        self.stretched, self.drifts = {}, {}


def _merged(new: list[Departure], known: list[Departure]) -> list[Departure]:
    """Of each level looked at whole one departure, with all its aspects; drifts of a series once."""
    taken = {(d.kind, d.level) for d in known if d.kind not in OVER_TIME}
    merged: dict[tuple[str, int, int], Departure] = {}
    for number, d in enumerate(new):
        if d.kind not in OVER_TIME and (d.kind, d.level) in taken:
            continue
        key = (d.kind, d.level, number if d.kind in OVER_TIME else -1)
        before = merged.get(key)
        if before is None or d.curve is not None:
            merged.setdefault(key, d)
        else:
            merged[key] = replace(before, effects=tuple(dict([*d.effects, *before.effects]).items()))
    return list(merged.values())


def _disjoint(found: list[Departure], most: float, size: int) -> list[Departure]:
    """The strongest, and further ones that share at most so much of their readings with those before."""
    used = np.zeros(size, dtype=bool)
    chosen = []
    for departure in found:
        if used[departure.readings].mean() < most:
            chosen.append(departure)
            used[departure.readings] = True
    return chosen


def _together(evidence: Evidence) -> Floats:
    """For each aspect, how many times as far as independent readings those of one day scatter together.

    From the middle of the squared sums of a day's residuals, which faults hardly move.
    """
    day = evidence.taken // 86_400_000_000
    use = evidence.counts
    width = len(evidence.aspects)
    keys, of = np.unique(day[use] * width + evidence.aspect[use], return_inverse=True)
    n = tally(of, len(keys))
    s = tally(of, len(keys), np.clip(evidence.z[use], -DRAWN_IN, DRAWN_IN))
    result = np.ones(width)
    for aspect in range(width):
        mine = (keys % width == aspect) & (n > 1)
        if mine.sum() >= FEWEST_CELLS * 2:
            ratio = float(np.median(s[mine] ** 2 / n[mine])) / MEDIAN_OF_SQUARES
            of_all = n[mine].sum() / n[keys % width == aspect].sum()
            result[aspect] = float(np.clip(1 + (ratio - 1) * of_all, 1.0, MOST_TOGETHER_OF_A_DAY))
    return result


def harmless_spread(evidence: Evidence, members: Members) -> float:
    """How much the levels of a kind differ anyway, in spreads: small differences between sound gauges, lots, people.

    From the middle of the squared standardised means, which a few true faults hardly move.
    """
    least = KINDS[members.kind].harmless
    if members.kind not in GROUPS or not len(members.reading):
        return least
    width = len(evidence.aspects)
    cell = members.level * width + evidence.aspect[members.reading]
    size = len(members.names) * width
    counts = np.bincount(cell, minlength=size).astype(float)
    sums = np.bincount(cell, weights=evidence.z[members.reading], minlength=size)
    enough = counts >= FEWEST_IN_CELL
    if enough.sum() < FEWEST_CELLS:
        return max(least, 0.15)
    ratio = float(np.median(sums[enough] ** 2 / counts[enough])) / MEDIAN_OF_SQUARES
    spread = np.sqrt(max(0.0, ratio - 1.0) / float(np.median(counts[enough])))
    return float(np.clip(spread, least, MOST_HARMLESS))


def _slopes(evidence: Evidence, members: Members, harmless: float) -> list[Departure]:
    """Rebuilt cases of a type: a change that grows with each rebuild."""
    found: list[Departure] = []
    width = len(evidence.aspects)
    for level in range(len(members.names)):
        number = evidence.case_types.index(members.names[level])
        mine = np.flatnonzero((evidence.case_type == number) & evidence.counts & (evidence.rebuild > 0))
        again = evidence.rebuild[mine] - 1.0
        aspect = evidence.aspect[mine]
        z = np.clip(evidence.z[mine], -DRAWN_IN, DRAWN_IN)
        n = np.bincount(aspect, minlength=width).astype(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_x = np.nan_to_num(np.bincount(aspect, weights=again, minlength=width) / n)
            mean_z = np.nan_to_num(np.bincount(aspect, weights=z, minlength=width) / n)
        x = again - mean_x[aspect]
        xx = np.bincount(aspect, weights=x**2, minlength=width)
        xz = np.bincount(aspect, weights=x * (z - mean_z[aspect]), minlength=width)
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = np.nan_to_num(xz / xx)
            strength = np.nan_to_num(xz / np.sqrt(xx + (harmless * xx) ** 2))
        allowed = np.abs(slope) >= LEAST_SLOPE
        log_p, k = best_together(strength[None, :], allowed[None, :])
        total = float(log_p[0]) + log(len(members.names)) + log(len(evidence.members))
        if total < 0 and len(np.unique(evidence.job[mine[again > 0]])) >= FEWEST_JOBS:
            order = np.argsort(-np.where(allowed, np.abs(strength), 0.0), kind="stable")[: k[0]]
            effects = tuple((int(a), float(slope[a])) for a in order)
            found.append(Departure("rebuilt", level, total, mine[again > 0], effects, whole=True, slope=True))
    return found
