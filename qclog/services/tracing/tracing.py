"""A trace: from a name to the unit, its gauges, its peers, its sisters, and what the log says of why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from qclog.domain.findings import CAUSES
from qclog.errors import UnknownNameError
from qclog.services.jobs import jobs
from qclog.services.jobs.as_left import AsLeft, as_left
from qclog.services.jobs.jobs import Story
from qclog.services.series.as_received import Change, compare_as_received
from qclog.services.series.peers import Placed, place_all
from qclog.services.series.series import Series, read_all, read_case_type
from qclog.services.tracing import comeback_risk, evidence
from qclog.services.tracing.comeback_readings import Going, relate_all
from qclog.services.tracing.comeback_risk import Risk
from qclog.services.tracing.evidence import Outside, Point
from qclog.services.tracing.gauge_days import GaugeDay, judge_gauges
from qclog.services.tracing.shop import Shop, read_shop
from qclog.services.tracing.sisters import (
    Link,
    Recalled,
    finding_link,
    links_of,
    recall_list,
    subject_link,
    suggest,
    touches,
)
from qclog.services.tracing.subject import Subject, find_subject
from qclog.services.watch import finding_life
from qclog.services.watch.finding_life import Watched
from qclog.store.log import Log


@dataclass(frozen=True)
class UnitTrace:
    """What the log knows of one job of a unit: now, and `left`, as it left. `every` series of its case type is as now,
    `every_then` as it left; `built_in` are the stories of the jobs whose units are inside it.
    """

    shop: Shop
    watched: Watched
    story: Story
    every: Sequence[Series]
    built_in: tuple[Story, ...] = ()
    left: AsLeft | None = None
    every_then: Sequence[Series] = ()

    @property
    def job(self) -> str:
        """Its number."""
        return str(self.story.job.job)

    @property
    def built(self) -> Story:
        """Its story as it left, or as it stands while it is here."""
        return self.story if self.left is None else self.left.story

    @cached_property
    def placed(self) -> tuple[Placed, ...]:
        """Each value among its peers, then and now."""
        return place_all(self.every, self.job, self.every_then)

    @cached_property
    def gauges(self) -> tuple[GaugeDay, ...]:
        """Whether each gauge was right that day."""
        return judge_gauges(self.shop, self.built)

    @cached_property
    def inside(self) -> tuple[UnitTrace, ...]:
        """The sub-assemblies built into it that were jobs of their own."""
        return tuple(UnitTrace(self.shop, self.watched, story, ()) for story in self.built_in)

    @cached_property
    def outside(self) -> tuple[Outside, ...]:
        """What left out of limits, or too close to call."""
        return evidence.outside_at_dispatch(self.built)

    @cached_property
    def changes(self) -> tuple[Change, ...]:
        """As received against as built."""
        later = [v for v in self.story.visits if v.opened > self.story.job.opened]
        return compare_as_received(self.every_then or self.every, self.every, self.job, later[0].job if later else None)

    @cached_property
    def going(self) -> tuple[Going, ...]:
        """Whether final readings of its case type go with comebacks."""
        own = self.shop.jobs.filter(pl.col("case_type") == self.story.sheet.code)
        return relate_all(self.every, own, self.shop.comebacks, self.shop.last_known)

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """What it shares with other units."""
        return links_of(self.shop, self.job, self.gauges, self.watched)

    @cached_property
    def points(self) -> tuple[Point, ...]:
        """The evidence, graded."""
        findings = [f for f in self.watched.standing if touches(self.shop, f, self.job)]
        points = evidence.weigh(self.shop, self.story, self.built, findings, self.gauges, self.changes, self.going)
        inside = (
            point for inner in self.inside for point in evidence.weigh_inside(inner.job, inner.gauges, inner.outside)
        )
        return (*points, *inside)


@dataclass(frozen=True)
class Trace:
    """What was asked for and everything the log has to say of it. `unit` is None for a lot, a batch or a gauge."""

    log: Log
    shop: Shop
    subject: Subject
    watched: Watched
    unit: UnitTrace | None

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """What a recall may go by: what the unit shares, or the lot, batch or gauge itself with its findings."""
        if self.unit is not None:
            return self.unit.links
        own = subject_link(self.shop, self.subject)
        return (*self.findings, *([own] if own else []))

    @cached_property
    def findings(self) -> tuple[Link, ...]:
        """The findings that stand about the lot, batch or gauge itself."""
        return tuple(
            finding_link(self.shop, f)
            for f in self.watched.standing
            if f.identifier == self.subject.kind and f.level == self.subject.name
        )

    @property
    def suggested(self) -> tuple[Link, ...]:
        """What a recall would most likely go by; none where nothing shared stands out."""
        return suggest(self.links, self.own)

    def recall(self, links: Sequence[Link]) -> tuple[Recalled, ...]:
        """The units that share any of `links`; every visit of the unit itself is left out."""
        return recall_list(self.shop, links, own=self.own)

    @cached_property
    def own(self) -> frozenset[str]:
        """Every visit of the unit itself; none for a lot, a batch or a gauge."""
        return frozenset() if self.unit is None else frozenset(v.job for v in self.shop.visits_of(self.unit.job))

    @cached_property
    def case_types(self) -> tuple[str, ...]:
        """The case types it is about."""
        return tuple(sorted({self.shop.by_job[job].case_type for job in self.subject.jobs}))

    @cached_property
    def out(self) -> pl.DataFrame:
        """Every unit that left, with its months in service and whether it came back."""
        return comeback_risk.months_out(self.shop.jobs, self.shop.comebacks, self.shop.last_known)

    @cached_property
    def risks(self) -> tuple[tuple[str, Risk], ...]:
        """Comebacks with exposure for each case type."""
        return tuple(
            (case_type, comeback_risk.risk_of(self.out.filter(pl.col("case_type") == case_type)))
            for case_type in sorted(self.shop.jobs["case_type"].unique())
        )

    @cached_property
    def explained(self) -> tuple[str, ...]:
        """The jobs that a finding that shifts readings names, or that were read with a doubtful gauge."""
        named = {j for f in self.watched.standing if CAUSES[f.cause].shifts for j in f.jobs}
        return tuple(sorted(named | set(self.shop.doubtful["job"])))

    def going(self, case_type: str, *, without_explained: bool = False) -> tuple[Going, ...]:
        """Whether final readings of a case type go with comebacks, also without the units that findings explain."""
        asked = (case_type, without_explained)
        if asked not in self._goings:
            mine = self.unit is not None and self.unit.story.sheet.code == case_type
            if mine and self.unit is not None and not without_explained:
                return self.unit.going
            every = self.unit.every if mine and self.unit is not None else read_all(self.log, case_type)
            own = self.shop.jobs.filter(pl.col("case_type") == case_type)
            leaving = self.explained if without_explained else ()
            self._goings[asked] = relate_all(every, own, self.shop.comebacks, self.shop.last_known, leaving)
        return self._goings[asked]

    @cached_property
    def _goings(self) -> dict[tuple[str, bool], tuple[Going, ...]]:
        return {}

    def compare(self, link: Link) -> str:
        """Whether the units that share something come back more often than others of their case types, in words."""
        types = {self.shop.by_job[job].case_type for job in link.jobs}
        until = self.shop.counted_to
        out = comeback_risk.months_out(self.shop.jobs, self.shop.comebacks, until)
        kin = out.filter(pl.col("case_type").is_in(sorted(types)))
        own = () if self.unit is None else (self.unit.job,)
        return comeback_risk.compare(kin, link.jobs, until, looked=len(self.links), without=own).text


def trace(
    log: Log, text: str, *, kind: str | None = None, job: str | None = None, watched: Watched | None = None
) -> Trace:
    """Trace a serial, job, customer reference, lot, machining batch or gauge; `job` chooses among a unit's visits.

    UnknownNameError if nothing is called that. `watched` spares looking through the whole log again.
    """
    with log.reading():
        shop = read_shop(log)
        subject = find_subject(shop, text, kind)
        chosen = job if job in subject.jobs else subject.main
        look = finding_life.read_watch(log) if watched is None else lambda: watched
        story = None if chosen is None else jobs.tell(log, chosen)
        read = None if story is None else read_case_type(log, story.sheet.code)
        left = None if story is None else as_left(log, story)
        then = None if left is None else read_case_type(left.log, left.story.sheet.code)
        inside = () if story is None else _stories_inside(log, story if left is None else left.story, left)
    found = look()
    unit = None
    if story is not None and read is not None:
        unit = UnitTrace(shop, found, story, read.series(), inside, left, () if then is None else then.series())
    return Trace(log, shop, subject, found, unit)


def _stories_inside(log: Log, built: Story, left: AsLeft | None) -> tuple[Story, ...]:
    """Those of the sub-assemblies, as the log stood when the unit left; as it stands, of one entered only since."""
    then, stories = log if left is None else left.log, []
    for job in _jobs_inside(built):
        try:
            stories.append(jobs.tell(then, job))
        except UnknownNameError:
            stories.append(jobs.tell(log, job))
    return tuple(stories)


def _jobs_inside(story: Story) -> list[str]:
    """The jobs of the sub-assemblies that were built into a job's unit."""
    own = story.job.job
    return list(dict.fromkeys(p.sub_assembly for p in story.parts if p.sub_assembly not in (None, own)))
