"""When a departure was first plain: the reading up to which the evidence was first enough.

The same score is worked out on the readings up to each job, with the choice of aspects and places paid for in full.
A reading counts only once its series has a reference: enough units of its kind measured before it.
"""

from __future__ import annotations

from math import log

import numpy as np

from qclog.watch.departures import Departure
from qclog.watch.evidence import Evidence
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import chi2_log_tail, log_choose, standardised
from qclog.watch.search import alpha_of

UNITS_BEFORE = 8


def rank_in_series(evidence: Evidence) -> Integers:
    """For each reading, how many of its series were taken before it."""
    order = np.lexsort((np.arange(len(evidence.series)), evidence.series))
    series = evidence.series[order]
    first = np.concatenate([[0], np.flatnonzero(np.diff(series)) + 1])
    start = np.repeat(first, np.diff([*first, len(series)]))
    rank = np.empty(len(series), dtype=np.int64)
    rank[order] = np.arange(len(series)) - start
    return rank


def found_at(evidence: Evidence, departure: Departure, own: Floats, rank: Integers) -> int:
    """The number of the reading at which the departure was first enough.

    `own` has the residuals with every other departure taken out. The last reading, if only the whole was enough.
    """
    aspects = np.array([a for a, _ in departure.effects])
    chosen = np.isin(evidence.aspect[departure.readings], aspects)
    mine = departure.readings[chosen]
    if departure.kind == "case_serial":
        return int(mine[-1])
    column = np.searchsorted(np.sort(aspects), evidence.aspect[mine])
    known = rank[mine] >= UNITS_BEFORE
    x = evidence.rebuild[mine] - 1.0 if departure.slope else np.ones(len(mine))
    sums = _by_column(np.where(known, own[mine] * x, 0.0), column, len(aspects))
    counts = _by_column(np.where(known, x**2, 0.0), column, len(aspects))
    z = standardised(sums, counts, departure.harmless)
    size = -np.sort(-np.abs(z), axis=1)
    k = np.arange(1, len(aspects) + 1)[None, :]
    log_p = chi2_log_tail(np.cumsum(size**2, axis=1), k) + log_choose(np.maximum(departure.many, k), k)
    enough = log_p.min(axis=1) + departure.penalty <= log(alpha_of(departure.kind))
    jobs = np.concatenate([[0], np.cumsum(np.diff(evidence.job[mine]) != 0)])
    enough &= (jobs >= 1) | (departure.kind == "rebuilt")
    return int(mine[int(np.argmax(enough))] if enough.any() else mine[-1])


def _by_column(values: Floats, column: Integers, width: int) -> Floats:
    wide = np.zeros((len(values), width))
    wide[np.arange(len(values)), column] = values
    return np.cumsum(wide, axis=0)
