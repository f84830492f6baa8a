"""Levels looked at whole: a batch, a lot, a supplier, a case, one visit of a case, each against all that is not it.

The middle and the spread that a level is compared with are those of the other units of the same series alone, with
Student's t for as few as they may be; a batch that is a third of its series would otherwise draw both toward itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from qclog.stats.charts.short_runs import normal_score_of_t
from qclog.watch.departures import DRAWN_IN, MOST_SHARE, Departure, tally
from qclog.watch.evidence import Bools, Evidence, Members
from qclog.watch.observations import ALONE
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import MOST_TOGETHER, best_together

FEWEST_OTHERS = 5
FEWEST_JOBS = 4  # of a group: nothing and nobody is named on fewer
MOST_OF_A_CASE = 3
PLAINLY_FAR = 2.0  # spreads, never finer than the step of reading
PLAIN_BELOW = 2.0  # spreads: up to here t is close enough to the normal to tell which are worth a closer look


@dataclass(frozen=True, slots=True)
class Cells:
    """The pairs of `Members` by level and series: the cell of each pair; level and series of each cell, its `place`
    among levels times aspects, and what its series is lent. `limit`, by level and aspect: how far matters.

    By level and job the same: `job_of` each pair, and the level of each.
    """

    of: Integers
    level: Integers
    series: Integers
    place: Integers
    lent: Floats
    lent_freedom: Floats
    least: Floats
    limit: Floats
    job_of: Integers
    job_level: Integers

    def jobs(self, use: Bools, levels: int) -> Integers:
        """How many jobs each level has among the pairs in use."""
        there = np.bincount(self.job_of[use], minlength=len(self.job_level)) > 0
        return np.asarray(np.bincount(self.job_level[there], minlength=levels))


def cells_of(evidence: Evidence, members: Members) -> Cells:
    """The cells of a kind, which stay the same through a search."""
    n_series = int(evidence.series.max()) + 1
    pairs, width, count = members.reading, len(evidence.aspects), len(evidence.jobs)
    keys, first, of = np.unique(
        members.level * n_series + evidence.series[pairs], return_index=True, return_inverse=True
    )
    by_job, job_of = np.unique(members.level * count + evidence.job[pairs], return_inverse=True)
    one = pairs[first]
    shape = (len(members.names), width)
    place = members.level * width + evidence.aspect[pairs]
    size = shape[0] * width
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = np.nan_to_num(tally(place, size, evidence.matters[pairs]) / tally(place, size))
    if members.kind == "visit":  # a unit is off by several steps of reading and spreads, however alike the others read
        limit[np.abs(tally(place, size, evidence.far[pairs])) < PLAINLY_FAR] = np.inf
    return Cells(
        of,
        keys // n_series,
        keys % n_series,
        place[first],
        evidence.lent[one],
        evidence.lent_freedom[one],
        evidence.least[one],
        limit.reshape(shape),
        job_of,
        by_job // count,
    )


def strongest_levels(
    evidence: Evidence,
    members: Members,
    cells: Cells,
    harmless: float,
    together: Floats,
    *,
    most: int,
    only: int | None = None,
) -> list[Departure]:
    """The strongest departures of a kind, at most `most`; `only` one level if one is given, but paid for as all."""
    if not len(members.reading):
        return []
    z, means = _against_others(evidence, members, cells, harmless, together)
    alone = members.kind in ALONE
    if alone:
        z[_visits_that_show(evidence, members, cells, means) < 2 if members.kind == "case_serial" else []] = 0.0
    else:
        z[cells.jobs(evidence.counts[members.reading], len(z)) < FEWEST_JOBS] = 0.0
    rows = np.arange(len(z)) if only is None else np.array([only])
    allowed = np.abs(means) >= cells.limit
    log_p, k = best_together(z[rows], allowed[rows], MOST_OF_A_CASE if alone else MOST_TOGETHER)
    penalty = log(max(1, len(z))) + (0.0 if members.kind == "visit" else log(len(evidence.members)))
    log_p = log_p + penalty
    found = []
    for place in np.argsort(log_p, kind="stable")[:most]:
        if log_p[place] >= 0:
            break
        at = int(rows[place])
        aspects = np.argsort(-np.where(allowed[at], np.abs(z[at]), 0.0), kind="stable")[: k[place]]
        found.append(
            Departure(
                members.kind,
                at,
                float(log_p[place]),
                members.of(at),
                tuple((int(a), float(means[at, a])) for a in aspects),
                whole=True,
            )
        )
    return found


def _against_others(
    evidence: Evidence, members: Members, cells: Cells, harmless: float, together: Floats
) -> tuple[Floats, Floats]:
    """By level and aspect: the standardised departure from the others, and how far it is.

    Groups that are most of what they would be compared with are left out: it is the others that are different.
    """
    alone = members.kind in ALONE
    shape = cells.limit.shape
    counts = evidence.counts.astype(float)
    drawn = np.clip(evidence.z, -DRAWN_IN, DRAWN_IN) * counts
    n_series = int(evidence.series.max()) + 1
    n_all, sum_all, square_all = (tally(evidence.series, n_series, w)[cells.series] for w in (counts, drawn, drawn**2))
    n_cells, pairs = len(cells.level), members.reading
    n, s, q, far = (tally(cells.of, n_cells, w[pairs]) for w in (counts, drawn, drawn**2, evidence.z * counts))
    others = n_all - n
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = (sum_all - s) / others
        rest = np.maximum(0.0, square_all - q - others * middle**2)
        freedom = cells.lent_freedom + others - 1
        variance = np.maximum((cells.lent_freedom * cells.lent + rest) / freedom, cells.least)
        weight = n * others / (n + others)
        difference = (far if alone else s) / n - middle
        t = difference * np.sqrt(weight / variance)
    usable = (n > 0) & (others >= FEWEST_OTHERS)
    t, weight, difference = (np.where(usable, v, 0.0) for v in (t, weight, difference))
    clear = usable & (np.abs(t) > PLAIN_BELOW)
    t[clear] = normal_score_of_t(t[clear], freedom[clear])

    def by_place(values: Floats) -> Floats:
        return tally(cells.place, shape[0] * shape[1], values).reshape(shape)

    weights = by_place(weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.nan_to_num(by_place(np.sqrt(weight) * t) / np.sqrt(weights))
        means = np.nan_to_num(by_place(weight * difference) / weights)
    if not alone:
        z /= np.sqrt(together[None, :] + harmless**2 * weights)
        z[by_place(n) > MOST_SHARE * by_place(n_all)] = 0.0
    return z, means


def _visits_that_show(evidence: Evidence, members: Members, cells: Cells, means: Floats) -> Integers:
    """Of each case that came more than once, in how many visits its strongest aspect is off to the same side."""
    strongest = np.argmax(np.abs(means), axis=1)
    sign = np.sign(means[np.arange(len(means)), strongest])
    mine = evidence.aspect[members.reading] == strongest[members.level]
    off = evidence.z[members.reading] * sign[members.level] >= 1.5
    return cells.jobs(mine & off & evidence.counts[members.reading], len(means))


def overlap(inside: Bools, members: Members) -> Integers:
    """How many of the readings `inside` each level has."""
    return np.asarray(np.bincount(members.level[inside[members.reading]], minlength=len(members.names)))
