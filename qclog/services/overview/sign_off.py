"""Before a job is dispatched: what stands against it, and what there is to know. It informs; people decide."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from qclog.domain import stored
from qclog.domain.findings import CAUSES, Finding
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.places import Place
from qclog.domain.speech.doubts import is_believable
from qclog.measures.gauge_trust import DOUBT, trust_at
from qclog.measures.judging import CLOSE, OUT
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story
from qclog.services.tracing import comeback_risk
from qclog.services.tracing.gauge_days import reason_text
from qclog.services.watch import finding_life
from qclog.services.watch.finding_life import Watched
from qclog.store.log import Log
from qclog.watch.residuals import standardise, winsorised
from qclog.words.numbers import plural
from qclog.words.sentences import place_text, reading_text, result_text, value_text, verdict_text

FEWEST_PEERS = 10

SOUND_JOBS_NAMED = 0.01  # about one sound job in a hundred has a place named as odd for its kind


@dataclass(frozen=True, slots=True)
class SignOff:
    """What stands against a job, each a list of sentences, and the comeback risk.

    `missing` places without a reading; `outside` limits, `close` to them; `odd` for their kind though inside limits;
    `unlikely` by the sheet, and standing all the same; `gauges` that could not be trusted, `ungauged` readings without
    one or with one of another kind; `findings` that stand and touch the job; `unplaced` how many of its values had too
    few of their kind to compare with; `concession` and `outstanding` as recorded; `conceded`: nothing was read since
    the concession that is outside limits.
    """

    job: str
    missing: tuple[str, ...]
    outside: tuple[str, ...]
    close: tuple[str, ...]
    odd: tuple[str, ...]
    unlikely: tuple[str, ...]
    ungauged: tuple[str, ...]
    gauges: tuple[str, ...]
    unchecked: tuple[str, ...]
    findings: tuple[str, ...]
    unplaced: int
    concession: str | None
    conceded: bool
    outstanding: str | None
    comebacks: str

    @property
    def clear(self) -> bool:
        """Whether nothing stands against it."""
        found = (self.missing, self.outside, self.close, self.odd, self.gauges, self.unchecked, self.findings)
        return not any((*found, self.unlikely, self.ungauged))

    @property
    def needs_concession(self) -> bool:
        """Whether it may leave only on a concession: outside limits, or with a reading the sheet calls unlikely."""
        return bool(self.outside or self.unlikely)

    @property
    def of_the_job(self) -> tuple[object, ...]:
        """What is of this job alone, so that it changes only when something of it or of its gauges was entered."""
        read = (self.missing, self.outside, self.close, self.unlikely, self.ungauged, self.gauges, self.unchecked)
        return (*read, self.concession, self.conceded, self.outstanding)

    @property
    def sections(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """(heading, sentences) of what there is, the gravest first."""
        leave = f"released on concession: {self.concession}" if self.concession else "no concession is recorded"
        leave += "" if self.conceded or not self.concession else "; read since then, so it needs another"
        parts = (
            (f"Out of limits ({leave})", self.outside),
            ("Unlikely, and nobody has put it right", self.unlikely),
            ("Without a reading", self.missing),
            ("Too close to a limit to call", self.close),
            ("Inside limits, but odd for its kind", self.odd),
            ("Without a gauge, or with one of another kind", self.ungauged),
            ("Read with a gauge in doubt", self.gauges),
            ("Read with a gauge not known to be right", self.unchecked),
            ("Touched by a finding that stands", self.findings),
            ("Outstanding", (self.outstanding,) if self.outstanding else ()),
        )
        return tuple((heading, lines) for heading, lines in parts if lines)


def before_dispatch(log: Log, job: str, watched: Watched | None = None) -> SignOff:
    """Everything that stands against dispatching a job. UnknownNameError if there is none.

    `watched` spares looking through the whole log again.
    """
    story = jobs.tell(log, job)
    watched = watched or finding_life.watch(log)
    with log.reading() as use:
        checks = use.rows("gauge_checks", stored.GaugeEvent)
        gauges = {row.gauge: row for row in use.rows("gauges", stored.Gauge)}
        everyone = use.frame("jobs_all")
        comebacks = use.frame("comebacks_now")
        visits = {(p.part, p.lot) for p in use.rows("job_parts", stored.JobPart, job=job) if p.lot}
    outside, close = _by_verdict(story)
    doubted, unchecked = _doubted(story, checks, gauges)
    odd, unplaced = _odd(watched, job, story)
    touching = [f for f in watched.standing if _touches(f, story, {lot for _, lot in visits})]
    until = _last_known(watched, everyone, comebacks)
    out = comeback_risk.months_out(everyone, comebacks, until)
    same = out.filter(pl.col("case_type") == story.job.case_type)
    return SignOff(
        job=job,
        missing=tuple(place_text(w.place, w.characteristic) for w in story.missing),
        outside=outside,
        close=close,
        odd=odd,
        unlikely=_unlikely(story),
        ungauged=_ungauged(story, gauges),
        gauges=doubted,
        unchecked=unchecked,
        findings=tuple(_told(f, out, until, len(touching)) for f in touching),
        unplaced=unplaced,
        concession=story.job.concession,
        conceded=_is_conceded(story),
        outstanding=story.job.outstanding,
        comebacks=comeback_risk.risk_of(same).text,
    )


def _is_conceded(story: Story) -> bool:
    """Whether a concession was granted, and no reading since is outside limits or goes into a value that is."""
    granted = max((d.entry for d in story.details if d.name == "concession" and d.value), default=None)
    if granted is None or not story.job.concession:
        return False
    since = [t for t in story.readings if t.row.counts and t.row.entry > granted]
    if any(t.verdict.result in OUT for t in since):
        return False
    return not (since and any(d.verdict.result in OUT for d in story.derived))


def _by_verdict(story: Story) -> tuple[tuple[str, ...], tuple[str, ...]]:
    outside: list[str] = []
    close: list[str] = []
    for told in story.readings:
        if told.row.counts and told.characteristic is not None:
            place = Place(story.job.job, told.row.characteristic, told.row.stage, told.row.position)
            said = (
                f"{place_text(place, told.characteristic)}: {reading_text(told.row)},"
                f" {verdict_text(told.verdict, told.characteristic)}"
            )
            if told.verdict.result in OUT:
                outside.append(said)
            elif told.verdict.result == CLOSE:
                close.append(said)
    for d in story.derived:
        said = (
            f"{d.characteristic.name}, {STAGE_WORDS[d.stage]}: {result_text(d)},"
            f" {verdict_text(d.verdict, d.characteristic)}"
        )
        if d.verdict.result in OUT:
            outside.append(said)
        elif d.verdict.result == CLOSE:
            close.append(said)
    return tuple(outside), tuple(close)


def _unlikely(story: Story) -> tuple[str, ...]:
    """Readings beyond what the sheet calls plausible that still count: a slip of unit or key, or something gross."""
    found = []
    for told in story.readings:
        c, row = told.characteristic, told.row
        if not row.counts or c is None or row.kind in ("word", "none"):
            continue
        if not is_believable(row.kind, row.low, row.high, c.plausible):
            place = Place(story.job.job, row.characteristic, row.stage, row.position)
            lowest, highest = c.plausible
            over = highest is not None and row.low is not None and row.low >= highest
            edge = f"over {highest:g}" if over else f"under {lowest:g}"
            found.append(f"{place_text(place, c)}: {reading_text(row)}, {edge} {c.unit}: is it right?")
    return tuple(found)


def _ungauged(story: Story, gauges: dict[str, stored.Gauge]) -> tuple[str, ...]:
    """Readings that name no gauge where the sheet wants one, and those with a gauge of another kind."""
    found: dict[str, int] = {}
    for told in story.readings:
        c, row = told.characteristic, told.row
        if not row.counts or c is None or not c.gauge_kind or row.kind in ("word", "none"):
            continue
        kind = c.gauge_kind.replace("_", " ")
        if row.gauge is None:
            said = f"{c.name} names no gauge; a {kind} is wanted"
        elif row.gauge in gauges and gauges[row.gauge].kind != c.gauge_kind:
            said = (
                f"{c.name} was read with {row.gauge}, a {gauges[row.gauge].kind.replace('_', ' ')}; a {kind} is wanted"
            )
        else:
            continue
        found[said] = found.get(said, 0) + 1
    return tuple(f"{said} ({plural(n, 'reading')})" for said, n in found.items())


def _places_outside(story: Story) -> set[tuple[str, str]]:
    """The (characteristic, stage) pairs that are out of limits, so that none is told twice."""
    read = {(t.row.characteristic, t.row.stage) for t in story.readings if t.row.counts and t.verdict.result in OUT}
    return read | {(d.characteristic.code, d.stage) for d in story.derived if d.verdict.result in OUT}


def _odd(watched: Watched, job: str, story: Story) -> tuple[tuple[str, ...], int]:
    """The job's values that lie farther from others of their kind than those of one sound job in a hundred would.

    Each is compared with the rest of its series: case type, characteristic, stage, new or re-used parts, since the
    last recorded change. Stages set by choice of shim take no part.
    """
    observations = watched.observations
    rows = observations.rows
    here = np.flatnonzero((rows["job"] == job).to_numpy()) if len(rows) else np.empty(0, dtype=np.int64)
    if not len(here):
        return (), 0
    residuals = standardise(observations)
    at = {int(row): i for i, row in enumerate(residuals.row)}
    values = rows["value"].to_numpy()
    edge = float(-special.ndtri(SOUND_JOBS_NAMED / 2 / len(here)))
    odd, unplaced = [], 0
    outside = _places_outside(story)
    for row in here.tolist():
        series = residuals.series[at[row]] if row in at else -1
        peers = residuals.row[residuals.series == series]
        peers = peers[(rows["job"].to_numpy() != job)[peers]]
        if len(peers) < FEWEST_PEERS:
            unplaced += 1
            continue
        z = float(residuals.z[at[row]])
        place = rows["characteristic"][row], rows["stage"][row]
        if abs(z) >= edge and place not in outside:
            odd.append(_odd_text(story, *place, values[row], values[peers], z))
    return tuple(odd), unplaced


def _odd_text(story: Story, code: str, stage: str, value: float, peers: Any, z: float) -> str:
    characteristic = story.sheet.characteristic(code)
    middle, _ = winsorised(peers)
    return (
        f"{characteristic.name}, {STAGE_WORDS[stage]}: {value_text(value, characteristic)},"
        f" {abs(z):.1f} ordinary spreads {'above' if z > 0 else 'below'} the middle of its kind"
        f" ({value_text(middle, characteristic)}, n = {len(peers)} others)"
    )


def _doubted(
    story: Story, checks: list[stored.GaugeEvent], gauges: dict[str, stored.Gauge]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Readings with a gauge in doubt, and with one that no good check before them vouches for."""
    doubted: dict[str, int] = {}
    unchecked: dict[str, int] = {}
    for told in story.readings:
        name = told.row.gauge
        if not told.row.counts or name not in gauges:
            continue
        taken_at = told.row.taken_at
        trust = trust_at(gauges[name], [c for c in checks if c.gauge == name], taken_at)
        if trust.state == DOUBT:
            said = f"{name}: {reason_text(trust, story.zone, taken_at)}"
            doubted[said] = doubted.get(said, 0) + 1
        elif trust.last_good is None:
            unchecked[name] = unchecked.get(name, 0) + 1
    vouched = "which no good check before vouches for"
    return (
        tuple(f"{plural(n, 'reading')} with {said}" for said, n in doubted.items()),
        tuple(f"{plural(n, 'reading')} with {name}, {vouched}" for name, n in unchecked.items()),
    )


def _touches(finding: Finding, story: Story, lots: set[str]) -> bool:
    """Whether a finding is about this job: named in it, or made of the same lot or batch, or read with that gauge since
    it was found.
    """
    if story.job.job in finding.jobs:
        return True
    if finding.identifier == "lot":
        return finding.level in lots
    if finding.identifier == "machining_batch":
        return bool(finding.level == story.job.machining_batch)
    if finding.identifier == "case_serial":
        return bool(finding.level == story.job.case_serial)
    return (finding.identifier == "gauge" and not finding.over) and any(
        t.row.counts and t.row.gauge == finding.level and t.row.taken_at >= finding.found_at for t in story.readings
    )


def _told(finding: Finding, out: pl.DataFrame, until: datetime, looked: int) -> str:
    """The finding and the comeback risk that it carries, where there is data for it."""
    if CAUSES[finding.cause].alone or not CAUSES[finding.cause].shifts:
        return finding.text
    kin = out.filter(pl.col("case_type").is_in(list(finding.case_types)))
    return f"{finding.text} Such units: {comeback_risk.compare(kin, finding.jobs, until, looked=looked).text}."


def _last_known(watched: Watched, everyone: pl.DataFrame, comebacks: pl.DataFrame) -> datetime:
    moments = [
        moment
        for column in (watched.observations.rows["taken_at"], everyone["dispatched"], comebacks["returned"])
        if (moment := column.max()) is not None
    ]
    return max(moments, default=datetime(1970, 1, 1))  # type: ignore[return-value] # columns of times
