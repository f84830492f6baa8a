"""Which other units share something with a job, where they are now, and the list of those to call in."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import polars as pl

from qclog.domain.findings import Finding
from qclog.services.tracing.gauge_days import DOUBT, GaugeDay
from qclog.services.tracing.shop import Shop
from qclog.services.tracing.subject import Subject
from qclog.services.watch.finding_life import Watched
from qclog.words.numbers import plural

RECALL_COLUMNS = (
    "job",
    "serial",
    "customer_ref",
    "where_now",
    "complaint",
    "left",
    "case_type",
    "opened",
    "shares",
    "outstanding",
)


@dataclass(frozen=True, slots=True)
class Link:
    """Something that several jobs share: `kind` (finding, gauge, lot, machining_batch, sub_assembly), its name, what it
    is in words, and every job that has it, in time order.
    """

    kind: str
    name: str
    words: str
    jobs: tuple[str, ...]
    finding: Finding | None = None

    @property
    def name_words(self) -> str:
        """What is shared, short enough for a column or a button."""
        if self.finding is not None:
            return f"finding: {self.finding.cause}, {self.finding.level}"
        return self.words

    @property
    def shifts(self) -> bool:
        """Whether it is a finding of units that differ, and not of how someone reads."""
        return self.finding is not None and self.finding.cause != "technician"


def suggest(links: Sequence[Link], own: Collection[str] = ()) -> tuple[Link, ...]:
    """What a recall would most likely go by: the strongest finding, with all that its gauge read while in doubt; else a
    gauge in doubt; else the only thing shared. Nothing where none of several stands out.

    `own` are the visits of the unit itself: what only they share leads to nobody else.
    """
    others = [link for link in links if set(link.jobs) - set(own)]
    first = next((link for link in others if link.shifts), None)
    if first is None:
        alone = len(others) == 1 or (bool(others) and others[0].kind == "gauge")
        return tuple(others[:1]) if alone else ()
    mine = first.finding
    named = [
        link
        for link in others
        if mine is not None and link.kind == mine.identifier and link.name == mine.level and link is not first
    ]
    return (first, *named)


@dataclass(frozen=True, slots=True)
class Recalled:
    """One unit of a recall list; texts, dates in the workshop's time."""

    job: str
    case_type: str
    serial: str
    customer_ref: str
    shares: str
    opened: str
    left: str
    where_now: str
    complaint: str
    outstanding: str

    @property
    def cells(self) -> tuple[str, ...]:
        """In the order of RECALL_COLUMNS."""
        return tuple(str(getattr(self, name)) for name in RECALL_COLUMNS)


def links_of(shop: Shop, job: str, gauges: Sequence[GaugeDay], watched: Watched) -> tuple[Link, ...]:
    """Everything a job shares with others, the most telling first: findings, doubtful gauges, batch, parts, lots."""
    row = shop.by_job[job]
    findings = [finding_link(shop, f) for f in watched.standing if touches(shop, f, job)]
    links = [link for link in findings if link.shifts]
    links += [_doubt_link(shop, g) for g in gauges if g.state == DOUBT]
    if row.machining_batch:
        links.append(link_of(shop, "machining_batch", row.machining_batch))
    links += _sub_assemblies(shop, job)
    lots = [link_of(shop, "lot", lot) for lot in shop.lots_of(job)]
    links += sorted(lots, key=lambda link: len(link.jobs))
    return (*links, *(link for link in findings if not link.shifts))


def subject_link(shop: Shop, subject: Subject) -> Link | None:
    """The link that a lot, a machining batch or a gauge is; None for a unit."""
    if subject.kind == "gauge":
        return Link("gauge", subject.name, f"read with {subject.name} while it was in doubt", subject.jobs)
    return link_of(shop, subject.kind, subject.name) if subject.kind in ("lot", "machining_batch") else None


def link_of(shop: Shop, kind: str, name: str) -> Link:
    """A lot or a machining batch with every job that has it."""
    if kind == "lot":
        mine = shop.parts.filter(pl.col("lot") == name)
        kinds = ", ".join(part.replace("_", " ") for part in mine["part"].unique(maintain_order=True))
        return Link(kind, name, f"lot {name} ({kinds})", _in_order(shop, mine["job"]))
    jobs = shop.jobs.filter(pl.col("machining_batch") == name)["job"]
    return Link("machining_batch", name, f"machining batch {name}", _in_order(shop, jobs))


def finding_link(shop: Shop, finding: Finding) -> Link:
    """A finding with its jobs."""
    return Link("finding", finding.id, finding.text, _in_order(shop, finding.jobs), finding)


def touches(shop: Shop, finding: Finding, job: str) -> bool:
    """Whether a finding is about a job: it names it, or is about a lot, batch or serial that the job has."""
    if job in finding.jobs:
        return True
    row = shop.by_job[job]
    if finding.identifier == "lot":
        return finding.level in shop.lots_of(job)
    if finding.identifier in ("machining_batch", "case_serial"):
        return bool(finding.level == getattr(row, finding.identifier))
    return False


def _doubt_link(shop: Shop, day: GaugeDay) -> Link:
    since, until = day.stretch
    same = pl.col("since").eq_missing(since) & pl.col("until").eq_missing(until)
    read = shop.doubtful.filter((pl.col("gauge") == day.gauge) & same)
    begins = f"from {shop.day(since)}" if since else "from the beginning"
    ends = f" to {shop.day(until)}" if until else " on"
    words = f"read with {day.gauge} while it was in doubt, {begins}{ends}"
    return Link("gauge", day.gauge, words, _in_order(shop, read["job"]))


def _sub_assemblies(shop: Shop, job: str) -> list[Link]:
    """Sub-assemblies built into the job, and units that the job was built into."""
    made = shop.parts.filter(pl.col("sub_assembly").is_not_null())
    inside = made.filter(pl.col("job") == job)["sub_assembly"].unique(maintain_order=True)
    links = []
    for sub in inside:
        users = made.filter(pl.col("sub_assembly") == sub)["job"]
        links.append(Link("sub_assembly", sub, f"sub-assembly built as job {sub}", _in_order(shop, [sub, *users])))
    users = made.filter(pl.col("sub_assembly") == job)["job"]
    if len(users):
        links.append(Link("sub_assembly", job, f"units that job {job} was built into", _in_order(shop, [job, *users])))
    return links


def _in_order(shop: Shop, jobs: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(jobs), key=lambda job: (shop.by_job[job].opened, job)))


def recall_list(shop: Shop, links: Sequence[Link], *, own: Collection[str] = ()) -> tuple[Recalled, ...]:
    """Every job that any of the links has, once, with what it shares; `own` visits of the unit itself are left out."""
    shares: dict[str, list[str]] = {}
    for link in links:
        for job in link.jobs:
            shares.setdefault(job, []).append(link.name_words)
    return tuple(
        _recalled(shop, job, "; ".join(dict.fromkeys(shares[job]))) for job in _in_order(shop, shares) if job not in own
    )


def _recalled(shop: Shop, job: str, shares: str) -> Recalled:
    row = shop.by_job[job]
    back = shop.backs.get(job)
    return Recalled(
        job=job,
        case_type=row.case_type,
        serial=row.case_serial or "",
        customer_ref=row.customer_ref or "",
        shares=shares,
        opened=shop.day(row.opened),
        left=shop.day(row.dispatched),
        where_now=shop.where_now(job),
        complaint="; ".join(b.complaint for b in back if b.complaint) if back else "",
        outstanding=row.outstanding or "",
    )


def count_text(shop: Shop, recalled: Sequence[Recalled]) -> str:
    """`24 units: 2 in the shop, 22 out; 4 of them came back at some time`."""
    here = sum(shop.is_here(r.job) for r in recalled)
    back = sum(r.job in shop.backs for r in recalled)
    told = f"{here} in the shop, {len(recalled) - here} out" if here else "none in the shop, all out"
    again = f"; {back} of them came back at some time" if back else ""
    return f"{plural(len(recalled), 'unit')}: {told}{again}" if recalled else "no other unit"
