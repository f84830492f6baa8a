"""Findings: departures named by what they follow: where, how much, since when, and what else could explain them."""

from __future__ import annotations

from math import exp
from typing import Any

import numpy as np
import polars as pl

from qclog.domain.findings import CAUSES, Finding
from qclog.watch.departures import Departure
from qclog.watch.evidence import Bools, Evidence, arrange
from qclog.watch.heaping import Heaping, find_heaping
from qclog.watch.observations import Observations
from qclog.watch.replay import found_at, rank_in_series
from qclog.watch.residuals import Floats, Integers, standardise
from qclog.watch.search import search
from qclog.watch.slow import Slow, find_drifts, find_wider

ALIKE = 0.8
SHOWN_FROM_Z = 3.0
_CAUSE_OF = {cause.follows: name for name, cause in CAUSES.items()}
IDENTIFIERS = {"rebuilt": "case_type"}


def find(observations: Observations) -> tuple[Finding, ...]:
    """Every finding that stands, strongest first."""
    found = [*_find_departures(observations), *(_name_heaping(h) for h in find_heaping(observations.ticks))]
    return tuple(sorted(found, key=lambda f: (f.strength, f.id)))


def _name_heaping(heaping: Heaping) -> Finding:
    rows = heaping.rows
    jobs = tuple(rows["job"].unique(maintain_order=True))
    first = rows.row(heaping.first_enough, named=True)
    side = "even" if heaping.even else "odd"
    name = heaping.technician
    share = f"{round(heaping.share * len(rows))} of {len(rows)}"
    return Finding(
        id=f"technician technician {name} {side}".replace(" ", "-"),
        cause="technician",
        identifier="technician",
        level=name,
        case_types=tuple(sorted(rows["case_type"].unique())),
        characteristics=tuple(sorted(rows["characteristic"].unique())),
        jobs=jobs,
        direction="wider",
        size_sd=round(2 * heaping.share - 1, 3),
        size=None,
        unit=None,
        strength=heaping.p,
        first_job=jobs[0],
        last_job=jobs[-1],
        found_at_job=first["job"],
        found_at=first["taken_at"],
        confounded_with=(),
        text=f"Feeler readings by {name} prefer {side} leaves: {share}, n = {len(jobs)} units; the feelers have both.",
        sizes=(),
    )


def _find_departures(observations: Observations) -> tuple[Finding, ...]:
    if observations.rows.is_empty():
        return ()
    residuals = standardise(observations)
    if not len(residuals.z):
        return ()
    evidence = arrange(observations, residuals)
    counts = evidence.counts.copy()
    departures = search(evidence)
    wider = find_wider(evidence)
    if wider:  # what scatters more is measured against its own scatter, or it would pass for many odd units
        evidence.z, evidence.counts = evidence.original.copy(), counts
        for found in wider:
            evidence.z[found.readings] /= np.hypot(1.0, found.size)
        departures = search(evidence)
    left = evidence.z.copy()
    rank = rank_in_series(evidence)
    units = {
        (r["case_type"], r["characteristic"]): r["unit"] for r in observations.characteristics.iter_rows(named=True)
    }
    taken = observations.rows["taken_at"].to_list()
    findings = [_name(evidence, group, left, rank, units, taken) for group in _grouped(departures)]
    slow = [*wider, *find_drifts(evidence)]
    return (*findings, *(_name_slow(evidence, found, units, taken) for found in slow))


def _name_slow(evidence: Evidence, slow: Slow, units: dict[tuple[str, str], str], taken: list[Any]) -> Finding:
    """A widening or a drift as a finding."""
    jobs = [evidence.jobs[j] for j in dict.fromkeys(evidence.job[slow.readings].tolist())]
    case_types = tuple(sorted({evidence.case_types[c] for c in np.unique(evidence.case_type[slow.readings])}))
    codes = tuple(sorted({evidence.aspects[a][0] for a in np.unique(evidence.aspect[slow.readings])}))
    first = int(slow.readings[slow.first_enough])
    drift = slow.kind == "drift"
    spread = float(np.median(evidence.spread[slow.readings]))
    unit = units[(case_types[0], codes[0])] if drift else None
    where = f"{', '.join(c.replace('_', ' ') for c in codes)} of {', '.join(case_types)}"
    n = f"n = {len(jobs)} units"
    if drift:
        way = "up" if slow.size > 0 else "down"
        text = f"A slow drift {way} that follows no identifier: {where} by {abs(slow.size):.1f} ordinary spreads, {n}."
    else:
        text = f"Readings with {slow.kind} {slow.name} scatter more: {slow.size:.1f} ordinary spreads on top, {n}."
    identifier = "case_type" if drift else slow.kind
    cause = "drift" if drift else slow.kind
    slug = f"{cause} {identifier} {slow.name} {codes[0] if drift else 'wider'}".replace(" ", "-")
    return Finding(
        id=slug,
        cause=cause,
        identifier=identifier,
        level=slow.name,
        case_types=case_types,
        characteristics=codes,
        jobs=tuple(jobs),
        direction=("high" if slow.size > 0 else "low") if drift else "wider",
        size_sd=round(abs(slow.size), 3),
        size=round(abs(slow.size) * spread, 6) if drift else None,
        unit=unit,
        strength=float(exp(max(-700.0, slow.log_p))),
        first_job=jobs[0],
        last_job=jobs[-1],
        found_at_job=evidence.jobs[evidence.job[first]],
        found_at=taken[evidence.row[first]],
        confounded_with=(),
        text=text,
        sizes=(),
    )


def _grouped(departures: list[Departure]) -> list[list[Departure]]:
    groups: dict[tuple[str, int], list[Departure]] = {}
    for departure in departures:
        groups.setdefault((departure.kind, departure.level), []).append(departure)
    return list(groups.values())


def _name(
    evidence: Evidence,
    group: list[Departure],
    left: Floats,
    rank: Integers,
    units: dict[tuple[str, str], str],
    taken: list[Any],
) -> Finding:
    main = group[0]
    members = evidence.members[main.kind]
    level = members.names[main.level]
    own = _with_effects(evidence, group, left)
    moments = [found_at(evidence, d, own, rank) for d in group]
    first_enough = min(moments)
    readings, sizes = _where_it_shows(evidence, group, units)
    jobs = list(dict.fromkeys(evidence.job[readings].tolist()))
    strongest = max(group[0].effects, key=lambda e: abs(e[1]))
    effect = strongest[1]
    several = {unit for *_, unit in sizes}
    cause, identifier = _cause(main, len(jobs))
    size = _size_in_unit(sizes, evidence, strongest[0]) if len(several) == 1 else None
    confounded = _confounded(evidence, main, readings)
    gauges = [name for kind, name in confounded if kind == "gauge"]
    if cause == "technician" and gauges:  # nobody is named where a gauge explains it as well
        confounded = (("technician", level), *((k, n) for k, n in confounded if (k, n) != ("gauge", gauges[0])))
        cause, identifier, level = "gauge", "gauge", gauges[0]
    finding = {
        "cause": cause,
        "identifier": identifier,
        "level": level,
        "case_types": tuple(sorted({s[0] for s in sizes})),
        "characteristics": tuple(sorted({s[1] for s in sizes})),
        "jobs": tuple(evidence.jobs[j] for j in jobs),
        "direction": "high" if effect > 0 else "low",
        "size_sd": round(abs(effect), 3),
        "size": None if size is None else round(abs(size), 6),
        "unit": next(iter(several)) if len(several) == 1 else None,
        "strength": float(exp(max(-700.0, min(d.log_p for d in group)))),
        "first_job": evidence.jobs[jobs[0]],
        "last_job": evidence.jobs[jobs[-1]],
        "found_at_job": evidence.jobs[evidence.job[first_enough]],
        "found_at": taken[evidence.row[first_enough]],
        "confounded_with": confounded,
        "sizes": sizes,
        "per_rebuild": main.slope,
    }
    own_level = members.names[main.level]
    kind = identifier if level == own_level else main.kind
    slug = f"{cause} {kind} {own_level}".replace(" ", "-")
    return Finding(id=slug, text=sentence(finding), **finding)


def _cause(departure: Departure, jobs: int) -> tuple[str, str]:
    if departure.kind == "case_serial" and jobs > 1:
        return "worn casing", "case_serial"
    return _CAUSE_OF[departure.kind], IDENTIFIERS.get(departure.kind, departure.kind)


def _with_effects(evidence: Evidence, group: list[Departure], left: Floats) -> Floats:
    """What is left of the residuals when every other cause is out, with this one's effects put back."""
    own = left.copy()
    for d in group:
        for aspect, effect in d.effects:
            mine = d.readings[evidence.aspect[d.readings] == aspect]
            if d.kind == "case_serial":
                own[mine] = evidence.original[mine]
            else:
                own[mine] += effect * (evidence.rebuild[mine] - 1.0 if d.slope else 1.0)
    return own


def _where_it_shows(
    evidence: Evidence, group: list[Departure], units: dict[tuple[str, str], str]
) -> tuple[Integers, tuple[tuple[str, str, str, float, float, str], ...]]:
    """The readings affected, and for each case type and aspect how far; copies of the evidence included."""
    picked: list[Integers] = []
    sizes: dict[tuple[str, str, str], tuple[str, str, str, float, float, str]] = {}
    for d in group:
        chosen = {aspect for aspect, _ in d.effects}
        for aspect in np.unique(evidence.aspect[d.readings]):
            mine = d.readings[evidence.aspect[d.readings] == aspect]
            copy = not evidence.counts[mine].any() and d.kind != "case_serial"
            if int(aspect) not in chosen and not (copy and _departs(evidence, mine)):
                continue
            picked.append(mine)
            for number in np.unique(evidence.case_type[mine]):
                here = mine[evidence.case_type[mine] == number]
                far = _mean(evidence.original[here], evidence.rebuild[here], slope=d.slope)
                code, stage = evidence.aspects[int(aspect)]
                case_type = evidence.case_types[int(number)]
                own = far * float(np.median(evidence.spread[here]))
                sizes[(case_type, code, stage)] = (case_type, code, stage, far, own, units[(case_type, code)])
    readings = np.unique(np.concatenate(picked))
    return readings, tuple(sizes.values())


def _departs(evidence: Evidence, mine: Integers) -> bool:
    mean = float(evidence.original[mine].mean())
    return abs(mean) * np.sqrt(len(mine)) >= SHOWN_FROM_Z and abs(mean) >= float(evidence.matters[mine].mean())


def _mean(z: Floats, rebuild: Floats, *, slope: bool) -> float:
    if not slope:
        return float(z.mean())
    x = rebuild - 1.0
    return float((x * z).sum() / max(1.0, (x**2).sum()))


def _size_in_unit(
    sizes: tuple[tuple[str, str, str, float, float, str], ...], evidence: Evidence, aspect: int
) -> float | None:
    code, stage = evidence.aspects[aspect]
    own = [s[4] for s in sizes if (s[1], s[2]) == (code, stage)]
    return float(np.mean(own)) if own else None


def _confounded(evidence: Evidence, main: Departure, readings: Integers) -> tuple[tuple[str, str], ...]:
    """Other identifiers that cover nearly the same readings, so that the data cannot tell them apart."""
    if main.kind in ("case_serial", "rebuilt"):
        return ()
    aspects = np.unique(evidence.aspect[readings])
    inside = np.zeros(len(evidence.z), dtype=bool)
    inside[readings] = True
    times = evidence.taken[readings]
    in_reach = np.isin(evidence.aspect, aspects)
    if not main.whole:
        in_reach &= (evidence.taken >= times.min()) & (evidence.taken <= times.max())
    found = []
    for kind, members in evidence.members.items():
        if kind in ("case_serial", "rebuilt"):
            continue
        for level in _overlapping(members.level, members.reading, inside):
            if (kind, level) == (main.kind, main.level):
                continue
            theirs = members.reading[members.level == level]
            theirs = theirs[in_reach[theirs]]
            both = int(inside[theirs].sum())
            if both / (len(readings) + len(theirs) - both) >= ALIKE:
                found.append((kind, members.names[level]))
    return tuple(found)


def _overlapping(level: Integers, reading: Integers, inside: Bools) -> list[int]:
    hit = np.bincount(level[inside[reading]]) if len(level) else np.empty(0)
    return [int(i) for i in np.flatnonzero(hit >= ALIKE * inside.sum() * 0.9)]


def sentence(finding: dict[str, Any]) -> str:
    """One sentence for a person, with n."""
    n = len(finding["jobs"])
    units = f"{n} unit" + ("" if n == 1 else "s")
    what = ", ".join(c.replace("_", " ") for c in finding["characteristics"])
    where = ", ".join(finding["case_types"])
    way = {"high": "high", "low": "low", "wider": "more scattered"}[finding["direction"]]
    size = f"{finding['size_sd']:.1f} ordinary spreads"
    if finding["size"] is not None:
        size += f" ({abs(finding['size']):.3g} {finding['unit']})"
    if finding["per_rebuild"]:
        size += " for each rebuild"
    told = CAUSES[finding["cause"]].says.format(
        level=finding["level"], what=what, where=where, way=way, size=size, units=units
    )
    if finding["confounded_with"]:
        others = ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in finding["confounded_with"])
        told += f"; confounded with {others}"
    return told + "."


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
