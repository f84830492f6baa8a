"""The readings arranged for the search: residuals by what each was made and read with, one column an aspect.

An aspect is a characteristic at a stage. Aspects that say nearly the same of a unit (a pack and the recess it follows
from, a trial and a final) count as one in the evidence, or two copies of one reading would pass for two witnesses.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from qclog.watch.observations import KINDS, Observations
from qclog.watch.residuals import Floats, Integers, Residuals

SAME = 0.8
FEWEST_TO_COMPARE = 15
Bools = np.ndarray[Any, np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True)
class Members:
    """For one kind of identifier: pairs (reading, level), sorted by level, then time; and the levels' names."""

    kind: str
    reading: Integers
    level: Integers
    names: tuple[str, ...]
    ends: Integers

    def of(self, level: int) -> Integers:
        """The readings of one level, in time order."""
        return self.reading[self.ends[level] : self.ends[level + 1]]


@dataclass(slots=True)
class Evidence:
    """Readings in time order, arrays with one entry each.

    `original` are the residuals, `z` what is left of them as causes are taken out, `counts` which readings are
    evidence; `far`, `wide`, `spread`, `matters`, `lent`, `lent_freedom` and `least` as `residuals.Residuals` has them.
    """

    z: Floats
    original: Floats
    far: Floats
    wide: Floats
    spread: Floats
    matters: Floats
    lent: Floats
    lent_freedom: Floats
    least: Floats
    aspect: Integers
    aspects: tuple[tuple[str, str], ...]
    case_type: Integers
    case_types: tuple[str, ...]
    job: Integers
    jobs: tuple[str, ...]
    taken: Integers
    counts: Bools
    rebuild: Floats
    members: dict[str, Members]
    row: Integers
    series: Integers
    events: tuple[tuple[str, int, int], ...]
    aspect_size: Floats


def arrange(observations: Observations, residuals: Residuals, first: Evidence | None = None) -> Evidence:
    """The readings with their residuals, ready to be searched. `first`: an earlier arrangement of the same."""
    rows = observations.rows[residuals.row.tolist()].with_row_index("reading")
    aspects = rows.select(pl.struct("characteristic", "stage")).to_series()
    aspect, aspect_names = _numbered(aspects)
    case_type, case_types = _numbered(rows["case_type"])
    job, jobs = _numbered(rows["job"])
    _, series = np.unique(residuals.series, return_inverse=True)
    evidence = Evidence(
        z=residuals.u.copy(),
        original=residuals.u.copy(),
        far=residuals.far,
        wide=residuals.wide,
        spread=residuals.spread,
        matters=residuals.matters,
        lent=residuals.lent,
        lent_freedom=residuals.lent_freedom,
        least=residuals.least,
        aspect=aspect,
        aspects=tuple((a["characteristic"], a["stage"]) for a in aspect_names),
        case_type=case_type,
        case_types=tuple(case_types),
        job=job,
        jobs=tuple(jobs),
        taken=rows["taken_at"].to_physical().to_numpy().astype(np.int64),
        counts=np.ones(len(rows), dtype=bool),
        rebuild=rows["rebuild"].fill_null(0).to_numpy().astype(float),
        members=first.members
        if first is not None and np.array_equal(first.row, residuals.row)
        else {kind: _members(kind, rows, observations) for kind in KINDS},
        row=residuals.row,
        series=series.astype(np.int64),
        events=tuple(
            (gauge, since, until)
            for gauge, since, until in observations.events.select(
                "gauge", pl.col("since").to_physical(), pl.col("until").to_physical()
            ).rows()
        ),
        aspect_size=np.bincount(aspect).astype(float),
    )
    evidence.counts = _one_witness_each(evidence)
    return evidence


def _numbered(values: pl.Series) -> tuple[Integers, list[Any]]:
    unique = values.unique(maintain_order=True)
    table = pl.DataFrame({"value": unique, "number": np.arange(len(unique))})
    numbers = pl.DataFrame({"value": values}).join(table, on="value", how="left", maintain_order="left")["number"]
    return numbers.to_numpy().astype(np.int64), unique.to_list()


def _members(kind: str, rows: pl.DataFrame, observations: Observations) -> Members:
    if kind in ("lot", "supplier"):
        fitted = (
            (observations.lots if kind == "lot" else observations.suppliers)
            .select("job", level=kind)
            .unique(maintain_order=True)
        )
        pairs = rows.select("reading", "job").join(fitted, on="job", maintain_order="left")
    elif kind == "machining_batch":
        inner = observations.inner_batches.select("job", level=kind).unique(maintain_order=True)
        own = rows.select("reading", level=kind)
        within = rows.select("reading", "job").join(inner, on="job", maintain_order="left").select("reading", "level")
        pairs = pl.concat([own, within]).unique(maintain_order=True)
    elif kind == "gauge":
        keys = ["job", "characteristic", "stage"]
        gauges = observations.gauges.select(*keys, level="gauge").unique(maintain_order=True)
        pairs = rows.select("reading", *keys).join(gauges, on=keys, maintain_order="left")
    elif kind == "rebuilt":
        again = pl.col("rebuild") > pl.col("rebuild").min().over("case_type")
        pairs = rows.filter(again.fill_null(value=False)).select("reading", level="case_type")
    elif kind == "case_serial":
        pairs = rows.filter(pl.col("job").n_unique().over("case_serial") > 1).select("reading", level="case_serial")
    elif kind == "visit":
        pairs = rows.select("reading", level="job")
    else:
        pairs = rows.select("reading", level=kind)
    pairs = pairs.drop_nulls("level").select("reading", "level")
    if pairs.is_empty():
        return Members(kind, np.empty(0, np.int64), np.empty(0, np.int64), (), np.zeros(1, np.int64))
    level, names = _numbered(pairs["level"])
    reading = pairs["reading"].to_numpy().astype(np.int64)
    order = np.lexsort((reading, level))
    ends = np.searchsorted(level[order], np.arange(len(names) + 1))
    return Members(kind, reading[order], level[order], tuple(str(n) for n in names), ends)


def _one_witness_each(evidence: Evidence) -> Bools:
    """Which readings count: of aspects that say nearly the same within a case type, the one read most often."""
    counts = np.ones(len(evidence.z), dtype=bool)
    order = np.argsort(evidence.case_type, kind="stable")
    for mine in np.split(order, np.flatnonzero(np.diff(evidence.case_type[order])) + 1):
        wide, present = _by_job(evidence, mine)
        if len(present) > 1 and len(wide) >= FEWEST_TO_COMPARE:
            for aspect in _copies(wide, present, evidence.aspects):
                counts[mine[evidence.aspect[mine] == aspect]] = False
    return counts


def _by_job(evidence: Evidence, mine: Integers) -> tuple[Floats, Integers]:
    present, column = np.unique(evidence.aspect[mine], return_inverse=True)
    jobs, line = np.unique(evidence.job[mine], return_inverse=True)
    wide = np.full((len(jobs), len(present)), np.nan)
    wide[line, column] = np.clip(evidence.z[mine], -6, 6)
    return wide, present


def _copies(wide: Floats, present: Integers, aspects: tuple[tuple[str, str], ...]) -> list[int]:
    filled = np.nan_to_num(wide)
    known = (~np.isnan(wide)).astype(float)
    both = known.T @ known
    products = filled.T @ filled
    squares = (filled**2).T @ known
    with np.errstate(invalid="ignore", divide="ignore"):
        alike = products / np.sqrt(squares * squares.T)
    alike = np.where(both >= FEWEST_TO_COMPARE, np.abs(alike), 0.0)
    n = known.sum(axis=0)
    later = {"as_found": 0, "trial": 1, "final": 2, "return": 3}
    order = sorted(range(len(present)), key=lambda i: (-n[i], -later[aspects[present[i]][1]], present[i]))
    kept: list[int] = []
    dropped = []
    for i in order:
        if any(alike[i, j] > SAME for j in kept):
            dropped.append(int(present[i]))
        else:
            kept.append(i)
    return dropped
