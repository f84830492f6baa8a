"""From departures to findings: where each shows, how far in the unit of the reading, since when, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import exp

import numpy as np
import polars as pl

from qclog.domain.findings import CAUSES, Effect, Finding
from qclog.watch.departures import Departure
from qclog.watch.evidence import Evidence
from qclog.watch.heaping import Heaping
from qclog.watch.observations import GROUPS, KINDS, OVER_TIME, PERSON, Observations
from qclog.watch.residuals import FEWEST, Floats, Integers, winsorised
from qclog.watch.slow import Slow, smooth

ALIKE = 0.8  # share of readings from which two names can't be told apart
SHOWN_FROM_Z = 3.0
FOLLOWED_BY = 15  # sound units after the last affected one, from which a trouble is over
FOLLOWED_BY_READINGS = 8  # the same of a gauge's or person's own jobs
MOST_TYPES_NAMED, MOST_NAMED = 4, 5
Size = tuple[str, str, str, float, float, str]  # case type, characteristic, stage, size in spreads, in the unit, unit


class Naming:
    """Names the departures of one search."""

    def __init__(self, observations: Observations, evidence: Evidence) -> None:
        self.evidence = evidence
        rows = observations.rows
        self.values = rows["value"].to_numpy()[evidence.row]
        self.taken: list[datetime] = rows["taken_at"].to_list()
        self.units: dict[tuple[str, str], str] = {
            (r["case_type"], r["characteristic"]): r["unit"] for r in observations.characteristics.iter_rows(named=True)
        }
        first = rows.group_by("job", maintain_order=True).agg(pl.col("case_serial").first())
        self.serial: dict[str, str | None] = dict(first.rows())
        visits: dict[str, list[str]] = {}
        for job, serial in self.serial.items():
            visits.setdefault(serial or job, []).append(job)
        self.visits = visits

    def name(self, group: Sequence[Departure]) -> Finding:
        """The finding that one identifier's departures are."""
        evidence, main = self.evidence, group[0]
        readings, distances, sizes = self._where_it_shows(group)
        effects = self._effects(readings, distances, group)
        readings = self._affected(readings, distances, main)
        jobs = self._jobs(readings)
        cause, identifier, level = self._cause(main, len(jobs))
        own_name = level
        confounded = self._confounded(main, readings)
        things = [(kind, name) for kind, name in confounded if kind != PERSON]
        if identifier == PERSON and things:  # nobody is named where a thing explains it as well
            confounded = ((PERSON, level), *(pair for pair in confounded if pair != things[0]))
            identifier, level = things[0]
            cause = KINDS[identifier].cause
        slug = f"{cause} {identifier if level == own_name else main.kind} {own_name}"
        if main.kind == "visit" and self.visits[level].index(jobs[0]):
            slug += f" {jobs[0]}"
        if main.kind == "drift":
            slug += f" {effects[0].characteristic}"
        strongest = effects[0]
        at = self._guess_found_at(readings)
        return Finding(
            id=slug.replace(" ", "-"),
            cause=cause,
            identifier=identifier,
            level=level,
            case_types=tuple(sorted({s[0] for s in sizes})),
            characteristics=tuple(sorted({s[1] for s in sizes})),
            jobs=jobs,
            direction=strongest.direction,
            size_sd=strongest.size_sd,
            size=strongest.size,
            unit=strongest.unit,
            strength=float(exp(max(-700.0, min(d.log_p for d in group)))),
            first_job=jobs[0],
            last_job=jobs[-1],
            found_at_job=evidence.jobs[evidence.job[at]],
            found_at=self.taken[evidence.row[at]],
            confounded_with=confounded,
            text=sentence(cause, identifier, level, effects, sizes, len(jobs), per_rebuild=main.slope),
            sizes=sizes,
            per_rebuild=main.slope,
            effects=effects,
            last_seen=self.taken[evidence.row[int(readings[-1])]],
            over=self._over(main, readings),
        )

    def name_wider(self, parts: Sequence[Slow]) -> Finding:
        """A gauge or person whose readings scatter more, in one stretch or several."""
        evidence, slow = self.evidence, parts[0]
        members = evidence.members[slow.kind]
        name = members.names[slow.level]
        mine = np.unique(np.concatenate([p.readings for p in parts]))
        jobs = self._jobs(mine)
        codes = sorted({evidence.aspects[a][0] for a in np.unique(evidence.aspect[mine])})
        case_types = tuple(sorted({evidence.case_types[c] for c in np.unique(evidence.case_type[mine])}))
        last = self.taken[evidence.row[int(mine[-1])]]
        return _scattering(
            slow.kind,
            name,
            "wider",
            {code: len(self._jobs(mine[self._of_code(mine, code)])) for code in codes},
            round(slow.size, 3),
            case_types=case_types,
            jobs=jobs,
            strength=float(exp(max(-700.0, slow.log_p))),
            found_at_job=jobs[-1],
            found_at=last,
            last_seen=last,
            over=self._followed(mine, members.of(slow.level)),
            text=f"Readings {'with gauge' if slow.kind == 'gauge' else 'by'} {name} scatter more: {_listed(codes)}"
            f" of {_types(case_types)} by {slow.size:.1f} ordinary spreads on top, {_units(len(jobs))}.",
        )

    def _of_code(self, readings: Integers, code: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        codes = np.array([c == code for c, _ in self.evidence.aspects])
        return np.asarray(codes[self.evidence.aspect[readings]])

    def _jobs(self, readings: Integers) -> tuple[str, ...]:
        return tuple(self.evidence.jobs[j] for j in dict.fromkeys(self.evidence.job[readings].tolist()))

    def _cause(self, departure: Departure, jobs: int) -> tuple[str, str, str]:
        """Cause, identifier and level as other programs know them."""
        kind, evidence = departure.kind, self.evidence
        if kind == "drift":
            return "drift", "case_type", evidence.case_types[evidence.case_type[departure.readings[0]]]
        name = evidence.members[kind].names[departure.level]
        if kind == "visit":
            return "odd casing", "case_serial", self.serial.get(name) or name
        if kind == "case_serial":
            return "worn casing" if jobs > 1 else "odd casing", "case_serial", name
        if kind == "rebuilt":
            return "worn casing", "case_type", name
        return KINDS[kind].cause, kind, name

    def _where_it_shows(self, group: Sequence[Departure]) -> tuple[Integers, Floats, tuple[Size, ...]]:
        """The readings it shows in, how far each is from the others, and for each case type and aspect how far.

        What only copies the evidence (a pack and its recess) is named too where it departs.
        """
        evidence = self.evidence
        picked: list[Integers] = []
        far: list[Floats] = []
        sizes: dict[tuple[str, str, str], Size] = {}
        jobs = np.zeros(len(evidence.jobs), dtype=bool)
        for d in group:
            jobs[evidence.job[d.readings]] = True
        for d in group:
            chosen = {aspect for aspect, _ in d.effects}
            readings = self._with_copies(d)
            for aspect in np.unique(evidence.aspect[readings]):
                mine = readings[evidence.aspect[readings] == aspect]
                distance = self._from_the_others(mine, jobs)
                copy = not evidence.counts[mine].any() and not d.alone
                if int(aspect) not in chosen and not (copy and self._departs(distance, mine)):
                    continue
                picked.append(mine)
                far.append(distance)
                code, stage = evidence.aspects[int(aspect)]
                for number in np.unique(evidence.case_type[mine]):
                    here = evidence.case_type[mine] == number
                    size = _size(distance[here], mine[here], evidence, d)
                    own = size * float(np.median(evidence.spread[mine[here]]))
                    case_type = evidence.case_types[int(number)]
                    key = (case_type, code, stage)
                    sizes[key] = (*key, round(size, 3), round(own, 6), self.units[case_type, code])
        readings, distances = np.concatenate(picked), np.concatenate(far)
        readings, first = np.unique(readings, return_index=True)
        return readings, distances[first], tuple(sizes.values())

    def _with_copies(self, departure: Departure) -> Integers:
        """Its readings, and those of the same jobs and level that were left out of the evidence as copies."""
        evidence = self.evidence
        if departure.kind not in OVER_TIME:
            return departure.readings
        theirs = evidence.members[departure.kind].of(departure.level)
        jobs = np.zeros(len(evidence.jobs), dtype=bool)
        jobs[evidence.job[departure.readings]] = True
        return theirs[jobs[evidence.job[theirs]]]

    def _from_the_others(self, mine: Integers, jobs: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Floats:
        """How far readings are, in spreads, from the middle of those of their series whose jobs it does not touch."""
        evidence = self.evidence
        result = np.zeros(len(mine))
        for number in np.unique(evidence.series[mine]):
            here = evidence.series[mine] == number
            of = np.flatnonzero(evidence.series == number)
            others = of[~jobs[evidence.job[of]]]
            middle, _ = winsorised(self.values[others if len(others) >= FEWEST else of])
            result[here] = (self.values[mine[here]] - middle) / evidence.spread[mine[here]]
        return result

    def _departs(self, distance: Floats, mine: Integers) -> bool:
        mean = float(np.clip(distance, -6, 6).mean())
        return abs(mean) * np.sqrt(len(mine)) >= SHOWN_FROM_Z and abs(mean) >= float(self.evidence.matters[mine].mean())

    def _effects(self, readings: Integers, distances: Floats, group: Sequence[Departure]) -> tuple[Effect, ...]:
        """What it does to each characteristic, strongest first."""
        evidence, found = self.evidence, []
        for code in dict.fromkeys(evidence.aspects[a][0] for a in evidence.aspect[readings]):
            here = self._of_code(readings, code)
            mine, far = readings[here], distances[here]
            size = _size(far, mine, evidence, group[0])
            in_unit = _size(far * evidence.spread[mine], mine, evidence, group[0])
            units = {self.units[evidence.case_types[c], code] for c in np.unique(evidence.case_type[mine])}
            one = len(units) == 1
            found.append(
                Effect(
                    code,
                    "high" if size > 0 else "low",
                    round(abs(size), 3),
                    round(abs(in_unit), 6) if one else None,
                    next(iter(units)) if one else None,
                    len(np.unique(evidence.job[mine])),
                )
            )
        return tuple(sorted(found, key=lambda e: -e.size_sd))

    def _affected(self, readings: Integers, distances: Floats, departure: Departure) -> Integers:
        """Of wear, the readings of those rebuilt cases that show it, not of all that were ever rebuilt."""
        if not departure.slope:
            return readings
        evidence = self.evidence
        effect = dict(departure.effects)
        expected = np.array([effect.get(int(a), 0.0) for a in evidence.aspect[readings]]) * (
            evidence.rebuild[readings] - 1
        )
        count = len(evidence.jobs)
        along = np.bincount(evidence.job[readings], weights=np.clip(distances, -6, 6) * expected, minlength=count)
        squares = np.bincount(evidence.job[readings], weights=expected**2, minlength=count)
        shows = along >= np.maximum(0.5 * squares, np.sqrt(squares))
        mine = readings[shows[evidence.job[readings]]]
        return mine if len(mine) else readings

    def _over(self, departure: Departure, readings: Integers) -> bool:
        """Whether enough sound units have followed the last affected one."""
        evidence = self.evidence
        if departure.kind in OVER_TIME:
            return self._followed(readings, evidence.members[departure.kind].of(departure.level))
        if departure.kind == "drift":
            return False
        keys = evidence.case_type * len(evidence.aspects) + evidence.aspect
        after = np.flatnonzero(
            (evidence.taken > evidence.taken[readings[-1]]) & np.isin(keys, np.unique(keys[readings]))
        )
        return len(np.unique(evidence.job[after])) >= FOLLOWED_BY

    def _followed(self, readings: Integers, theirs: Integers) -> bool:
        evidence = self.evidence
        after = theirs[evidence.taken[theirs] > evidence.taken[readings[-1]]]
        after = after[np.isin(evidence.aspect[after], np.unique(evidence.aspect[readings]))]
        return len(np.unique(evidence.job[after])) >= FOLLOWED_BY_READINGS

    def _guess_found_at(self, readings: Integers) -> int:
        """Without a replay: the last of its first few units."""
        jobs = list(dict.fromkeys(self.evidence.job[readings].tolist()))
        few = jobs[min(len(jobs), max(4, len(jobs) // 2)) - 1]
        return int(readings[self.evidence.job[readings] == few][-1])

    def _confounded(self, main: Departure, readings: Integers) -> tuple[tuple[str, str], ...]:
        """Other identifiers that cover nearly the same readings or explain them nearly as well."""
        evidence = self.evidence
        if main.kind not in GROUPS:
            return ()
        found = [(kind, evidence.members[kind].names[level]) for kind, level in main.rivals]
        inside = np.zeros(len(evidence.z), dtype=bool)
        inside[readings] = True
        times = evidence.taken[readings]
        in_reach = np.isin(evidence.aspect, np.unique(evidence.aspect[readings]))
        if not main.whole:
            in_reach &= (evidence.taken >= times.min()) & (evidence.taken <= times.max())
        for kind in GROUPS:
            members = evidence.members[kind]
            hit = np.bincount(members.level[inside[members.reading]], minlength=len(members.names))
            for level in np.flatnonzero(hit >= ALIKE * len(readings) * 0.9):
                if (kind, int(level)) == (main.kind, main.level):
                    continue
                theirs = members.of(int(level))
                theirs = theirs[in_reach[theirs]]
                both = int(inside[theirs].sum())
                if both / (len(readings) + len(theirs) - both) >= ALIKE:
                    found.append((kind, members.names[level]))
        return tuple(dict.fromkeys(found))


def _size(far: Floats, mine: Integers, evidence: Evidence, departure: Departure) -> float:
    """The effect in `far`'s unit, wild readings drawn in: a mean, a slope per rebuild, or how far a drift now is."""
    if departure.slope:
        x = evidence.rebuild[mine] - 1.0
        return float((x * far).sum() / max(1.0, (x**2).sum()))
    if departure.kind == "drift":
        slow = smooth(far, 16)
        turned = slow[int(np.argmax(np.abs(slow - slow[0])))] - slow[0]
        return float(turned)
    return winsorised(far)[0] if len(far) > 1 else float(far[0])


def name_heaping(heaping: Heaping) -> Finding:
    """A person who prefers even or odd leaves."""
    rows = heaping.rows
    jobs = tuple(rows["job"].unique(maintain_order=True))
    first = rows.row(heaping.first_enough, named=True)
    side = "even" if heaping.even else "odd"
    name = heaping.technician
    share = f"{round(heaping.share * len(rows))} of {len(rows)}"
    units = rows.group_by("characteristic").agg(pl.col("job").n_unique()).sort("characteristic")
    return _scattering(
        PERSON,
        name,
        side,
        dict(units.rows()),
        round(2 * heaping.share - 1, 3),
        case_types=tuple(sorted(rows["case_type"].unique())),
        jobs=jobs,
        strength=heaping.p,
        found_at_job=first["job"],
        found_at=first["taken_at"],
        last_seen=rows["taken_at"][-1],
        over=False,
        text=f"Feeler readings by {name} prefer {side} leaves: {share}, n = {len(jobs)} units; the feelers have both.",
    )


def _scattering(
    identifier: str,
    level: str,
    how: str,
    units: Mapping[str, int],
    size: float,
    *,
    case_types: tuple[str, ...],
    jobs: tuple[str, ...],
    strength: float,
    found_at_job: str,
    found_at: datetime,
    last_seen: datetime,
    over: bool,
    text: str,
) -> Finding:
    """A finding about how readings scatter, not where they lie; `units` has n for each characteristic, in order."""
    cause = KINDS[identifier].cause
    return Finding(
        id=f"{cause} {identifier} {level} {how}".replace(" ", "-"),
        cause=cause,
        identifier=identifier,
        level=level,
        case_types=case_types,
        characteristics=tuple(units),
        jobs=jobs,
        direction="wider",
        size_sd=size,
        size=None,
        unit=None,
        strength=strength,
        first_job=jobs[0],
        last_job=jobs[-1],
        found_at_job=found_at_job,
        found_at=found_at,
        confounded_with=(),
        text=text,
        sizes=(),
        effects=tuple(Effect(code, "wider", size, None, None, n) for code, n in units.items()),
        last_seen=last_seen,
        over=over,
    )


def sentence(
    cause: str,
    identifier: str,
    level: str,
    effects: Sequence[Effect],
    sizes: Sequence[Size],
    units: int,
    *,
    per_rebuild: bool,
) -> str:
    """One sentence for a person: each characteristic with its own direction and size, and n."""
    told = [effect_text(e, per_rebuild=per_rebuild) for e in effects[:MOST_NAMED]]
    if len(effects) > MOST_NAMED:
        told.append(f"{len(effects) - MOST_NAMED} more")
    what = f"{'; '.join(told)} ({_types(sorted({s[0] for s in sizes}))})"
    name = identifier.replace("_", " ").capitalize()
    return CAUSES[cause].says.format(identifier=name, level=level, what=what, units=_units(units)) + "."


def effect_text(effect: Effect, *, per_rebuild: bool = False) -> str:
    """`pinch low by 3.1 ordinary spreads (1.2 thou)`."""
    size = f"{effect.size_sd:.1f} ordinary spreads"
    if effect.size is not None:
        size += f" ({effect.size:.3g} {effect.unit})"
    name = effect.characteristic.replace("_", " ")
    return f"{name} {effect.direction} by {size}" + (" for each rebuild" if per_rebuild else "")


def _types(case_types: Sequence[str]) -> str:
    named = ", ".join(case_types[:MOST_TYPES_NAMED])
    more = len(case_types) - MOST_TYPES_NAMED
    return named + (f" and {more} more case type{'s' if more > 1 else ''}" if more > 0 else "")


def _listed(codes: Sequence[str]) -> str:
    return ", ".join(c.replace("_", " ") for c in codes)


def _units(count: int) -> str:
    return f"n = {count} unit" + ("" if count == 1 else "s")
