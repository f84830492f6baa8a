"""Findings: departures named by what they follow: where, how much, since when, and what else could explain them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import polars as pl

from qclog.domain.findings import BUDGET, CAUSES, Finding
from qclog.watch.departures import Departure
from qclog.watch.evidence import Evidence, arrange
from qclog.watch.heaping import find_heaping
from qclog.watch.naming import Naming, name_heaping
from qclog.watch.observations import Observations
from qclog.watch.residuals import Floats, standardise
from qclog.watch.search import search
from qclog.watch.slow import Slow, find_wider

T = TypeVar("T", Departure, Slow)
SHARE, SHARE_OF_SINGLES = 0.15, 0.06  # of the budget; scatter and habits have their own, stricter rules
SHARE_OF_PEOPLE = 0.1  # of that: nobody is named in passing
MOST_ALLOWED = 0.5  # expected by luck in the whole log, however long it is


def find(observations: Observations, budget: float = BUDGET) -> tuple[Finding, ...]:
    """Every finding there is, strongest first; `budget` is how many false ones a year may stand.

    What is too weak for the budget is merely worth a look. `found_at` is a guess from the finished log; `replay.replay`
    tells it.
    """
    found = [*_find_departures(observations), *(name_heaping(h) for h in find_heaping(observations.ticks))]
    best: dict[str, Finding] = {}
    for finding in sorted(found, key=lambda f: (f.strength, f.id)):
        best.setdefault(finding.id, finding)
    years = _years(observations)

    def allowed(finding: Finding) -> float:
        share = SHARE_OF_SINGLES if CAUSES[finding.cause].alone else SHARE
        share *= SHARE_OF_PEOPLE if finding.cause == "technician" else 1.0
        return min(budget * share * years, MOST_ALLOWED)

    return tuple(replace(f, stands=f.strength <= allowed(f)) for f in best.values())


def _years(observations: Observations) -> float:
    """How long the log has gone on, a year at least."""
    taken = observations.rows["taken_at"]
    if taken.is_empty():
        return 1.0
    return max(1.0, float((taken[-1] - taken[0]).total_seconds()) / (365.25 * 86_400))


def _find_departures(observations: Observations) -> list[Finding]:
    if observations.rows.is_empty():
        return []
    residuals = standardise(observations)
    if not len(residuals.u):
        return []
    evidence = arrange(observations, residuals)
    departures = search(evidence)
    wider = find_wider(evidence)
    if departures or wider:
        again = standardise(observations, *_known(observations, evidence, departures, wider))
        first, evidence = evidence, arrange(observations, again, evidence)
        departures = search(evidence, [_in(evidence, first, d) for d in departures if not d.alone])
    naming = Naming(observations, evidence)
    return [*(naming.name(group) for group in _grouped(departures)), *(naming.name_wider(w) for w in _grouped(wider))]


def _known(
    observations: Observations, evidence: Evidence, departures: list[Departure], wider: list[Slow]
) -> tuple[Floats, Floats]:
    """What was found in a first look, by row: how much farther readings scatter, and what causes add to them.

    What scatters more is measured against its own scatter, or it would pass for many odd units; and references, spreads
    and tails are those of readings without the causes.
    """
    scatter, added = np.ones(len(observations.rows)), np.zeros(len(observations.rows))
    for found in wider:
        scatter[evidence.row[found.readings]] = np.hypot(1.0, found.size)
    for departure in departures:
        if not departure.alone:
            for _, mine, x, effect in departure.parts(evidence):
                added[evidence.row[mine]] += effect * x * evidence.wide[mine]
    return scatter, added


def _in(evidence: Evidence, first: Evidence, departure: Departure) -> Departure:
    """A departure of the first look with its readings as they are numbered now."""
    number = np.full(max(int(evidence.row.max()), int(first.row.max())) + 1, -1)
    number[evidence.row] = np.arange(len(evidence.row))
    now = number[first.row[departure.readings]]
    curve = None if departure.curve is None else departure.curve[now >= 0]
    members, level = evidence.members.get(departure.kind), departure.level
    if members is not None:
        level = members.names.index(first.members[departure.kind].names[departure.level])
    return replace(departure, readings=now[now >= 0], curve=curve, level=level)


def _grouped(found: Sequence[T]) -> list[list[T]]:
    """What was found, by gauge, lot, person ... in the order of the first of each."""
    groups: dict[tuple[str, int], list[T]] = {}
    for one in found:
        groups.setdefault((one.kind, one.level), []).append(one)
    return list(groups.values())


def as_frame(findings: tuple[Finding, ...]) -> pl.DataFrame:
    """The findings as a table, one row each."""
    return pl.DataFrame(
        {
            "cause": [f.cause for f in findings],
            "level": [f.level for f in findings],
            "units": [len(f.jobs) for f in findings],
            "text": [f.text for f in findings],
        }
    )
