"""The monthly review: what a manager looks at on the first Monday, on paper."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from qclog.charts.over_time import draw
from qclog.domain.findings import Finding
from qclog.report.document import Block, Column, Document, Facts, Figure, Heading, Paragraph, Points, Table
from qclog.report.figures import figure_of
from qclog.services.overview.at_a_glance import look_at_shims
from qclog.services.overview.month import Month, look_back_at
from qclog.services.papers import paper
from qclog.services.papers.investigation_file import table
from qclog.services.papers.investigation_tables import risks_grid
from qclog.services.series.case_chart import chart_series
from qclog.services.series.pictures import picture_of
from qclog.services.series.series import read_series
from qclog.services.watch import finding_life, finding_words
from qclog.services.watch.finding_life import Followed, Watched
from qclog.store.log import Log
from qclog.words.numbers import plural

MOST_CHARTS = 3
MOST_ROWS = 40


def monthly_review(log: Log, month: str | None = None, watched: Watched | None = None) -> Document:
    """The review of a month (`2026-05`), or of the last in which anything happened, as the log stood at its end; what
    has become known of it since is said apart. InputError for another text.
    """
    found, known_now = look_back_at(log, month)
    watched_now = watched or finding_life.watch(log)
    watched = watched_now if found.log == log else finding_life.watch(found.log)
    blocks = [
        _brief(found),
        *_known_since(found, known_now, watched, watched_now),
        *_findings(found, watched),
        *_settled(found, watched),
        *_case_types(found),
        *_left_outside(found),
        *_comebacks(found),
        *_gauges(found),
        *_outstanding(found),
        *_quality(found),
        *_stock(found.log),
    ]
    return paper.frame(found.log, "Monthly review", found.span.name, blocks)


def _figures(month: Month) -> tuple[tuple[str, str], ...]:
    ours = month.backs.filter(pl.col("attributable") == "yes")
    return (
        ("came in", plural(len(month.came_in), "unit")),
        ("left", plural(len(month.left), "unit")),
        ("in the shop at its end", plural(len(month.here), "unit")),
        ("came back", f"{plural(len(month.backs), 'unit')}, {len(ours)} of them recorded as ours"),
        ("cost of what came back", month.returns.cost_text if month.returns.returns else "nothing came back"),
        ("left outside a limit", plural(len({job for job, _, _ in month.outside}), "unit")),
        ("readings", f"{len(month.readings):,}"),
    )


def _brief(month: Month) -> Block:
    return Facts(_figures(month))


def _known_since(then: Month, now: Month, watched: Watched, watched_now: Watched) -> list[Block]:
    """What has become known of the month since it ended; nothing where nothing has."""
    if then is now:
        return []
    pairs = zip(_figures(then), _figures(now), strict=True)
    told = [
        f"{name}: {before} as it ended, {after} as known now" for (name, before), (_, after) in pairs if before != after
    ]
    before = {f.id for f in watched.standing}
    begun = [f for f in watched_now.standing if f.id not in before and set(f.jobs) & set(then.left["job"])]
    told += [f"found since, of units that left in it: {f.text}" for f in begun]
    return [Heading("Known since of this month"), Points(tuple(told))] if told else []


def _settled(month: Month, watched: Watched) -> list[Block]:
    """The findings that people settled in the month."""
    inside = [
        (f, note)
        for f in watched.followed
        for note in f.notes
        if note.state in finding_life.SETTLED and month.span.since <= note.noted_at < month.span.until
    ]
    if not inside:
        return []
    told = tuple(f"{f.id}: {finding_words.note_text(note, month.shop.zone)}" for f, note in inside)
    return [Heading("Settled in this month", 2), Points(told)]


def _findings(month: Month, watched: Watched) -> list[Block]:
    standing = [f for f in watched.followed if f.stands]
    blocks: list[Block] = [Heading("What the readings point to")]
    if not standing:
        return [*blocks, Paragraph("Nothing stands out after allowing for everything that was looked at.")]
    gone = month.shop.jobs_out
    charts = 0
    for followed in standing:
        finding = followed.finding
        if finding is None:
            continue
        blocks += _told(followed, finding, month, gone)
        if charts < MOST_CHARTS and finding.sizes:
            drawn = chart_of_finding(month.log, finding)
            charts += drawn is not None
            blocks += [drawn] if drawn is not None else []
    settled = finding_words.count_settled(watched.settled)
    said = f"Also: {settled}. " if settled else ""
    blocks.append(Paragraph(f"{said}These are suggestions from readings, not proof: look before you act.", quiet=True))
    return blocks


def _told(followed: Followed, finding: Finding, month: Month, gone: set[str]) -> list[Block]:
    zone = month.shop.zone
    first, *rest = finding_words.tell(finding, gone, zone)
    new = month.span.since <= finding.found_at < month.span.until
    return [
        Heading(first, 2),
        Points((*(("new in this month",) if new else ()), *rest, *finding_words.tell_state(followed, zone))),
    ]


def chart_of_finding(log: Log, finding: Finding) -> Figure | None:
    """Where a finding shows most, its units ringed; None where too few are comparable to draw."""
    case_type, code, stage, *_ = max(finding.sizes, key=lambda size: abs(size[3]))
    series = read_series(log, case_type, code)
    mine = series.rows.filter((pl.col("stage") == stage) & pl.col("job").is_in(list(finding.jobs)))
    if mine.is_empty():
        return None
    most = mine.group_by("condition", "machined").len().sort("len", "machined", descending=True).row(0, named=True)
    chart = chart_series(series, stage=stage, condition=most["condition"], machined=most["machined"])
    rings = chart.rows.with_row_index("order", offset=1).filter(pl.col("job").is_in(list(finding.jobs)))
    marks = rings.select(pl.col("order").cast(pl.Int64), "value", "job", says=pl.lit("of this finding"))
    picture = picture_of(chart)
    drawn = draw(replace(picture, marks=marks, title="", subtitle=""), width=520, height=190)
    said = f"{picture.title}: {picture.subtitle}; {len(rings)} of this finding have a square round them"
    return figure_of(drawn, said, caption=said)


def _case_types(month: Month) -> list[Block]:
    if not month.case_types:
        return []
    headings = ("came in", "left", "in the shop", "left outside a limit", "on concession", "something outstanding")
    columns = (Column("case type", share=1), *(Column(heading, "decimal") for heading in headings))
    rows = tuple(
        (t.case_type, *(str(n) for n in (t.came_in, t.left, t.here, t.outside, t.concessions, t.outstanding)))
        for t in month.case_types
    )
    return [Heading("Case types in this month"), Table(columns, rows)]


def _left_outside(month: Month) -> list[Block]:
    blocks: list[Block] = [Heading("Left outside a limit in this month")]
    if not month.outside:
        return [*blocks, Paragraph("None did.")]
    columns = (Column("job"), Column("what", share=2), Column("how"), Column("concession", share=2))
    rows = [(job, what, how, month.shop.by_job[job].concession or "") for job, what, how in month.outside]
    blocks.append(Table(columns, tuple(rows[:MOST_ROWS])))
    return [*blocks, *_more(len(rows))]


def _comebacks(month: Month) -> list[Block]:
    day = month.shop.day
    blocks: list[Block] = [Heading("Came back in this month")]
    if month.backs.is_empty():
        blocks.append(Paragraph("None did."))
    else:
        columns = (
            Column("on"),
            Column("job"),
            Column("left"),
            Column("complaint", share=2),
            Column("found", share=2),
            Column("ours"),
        )
        rows = tuple(
            (
                day(row["returned"]),
                row["job"],
                day(month.shop.by_job[row["job"]].dispatched),
                row["complaint"] or "",
                row["finding"] or "",
                row["attributable"] or "",
            )
            for row in month.backs.iter_rows(named=True)
        )
        blocks.append(Table(columns, rows))
        if month.returns.unsaid < month.returns.returns:
            blocks.append(Paragraph(f"What they cost: {month.returns.cost_text}."))
    blocks += [
        Heading("Of everything that has left up to now", 2),
        *table(risks_grid([(t.case_type, t.risk) for t in month.case_types])),
        Paragraph("Comebacks recorded as not ours count as none.", quiet=True),
    ]
    if month.by_dispatch:
        of_months = (
            Column("left in"),
            Column("units", "decimal"),
            Column("came back so far", "decimal"),
        )
        counted = tuple((name, str(left), str(back)) for name, left, back in month.by_dispatch)
        blocks += [
            Heading("Comebacks by the month the unit left", 2),
            Table(of_months, counted),
            Paragraph("Late months have had less time to come back.", quiet=True),
        ]
    return blocks


def _gauges(month: Month) -> list[Block]:
    if not month.gauges:
        return [Heading("Gauges"), Paragraph("Every gauge was checked in the month, and none was in doubt.")]
    columns = (Column("gauge"), Column("what there is", share=1), Column("readings in the month", "decimal"))
    rows = tuple((g.gauge, g.says, str(g.readings)) for g in month.gauges)
    return [Heading("Gauges that ask for something"), Table(columns, rows)]


def _outstanding(month: Month) -> list[Block]:
    gone = month.shop.jobs.filter(
        pl.col("dispatched").is_not_null()
        & pl.col("outstanding").is_not_null()
        & (pl.col("dispatched") < month.span.until)
    ).sort("dispatched", descending=True)
    if gone.is_empty():
        return []
    columns = (Column("job"), Column("left"), Column("customer", share=1), Column("outstanding", share=4))
    rows = tuple(
        (row["job"], month.shop.day(row["dispatched"]), row["customer_ref"] or "", row["outstanding"])
        for row in gone.head(MOST_ROWS).iter_rows(named=True)
    )
    return [Heading("Left with something outstanding, and never closed"), Table(columns, rows), *_more(len(gone))]


def _more(count: int) -> list[Block]:
    return [Paragraph(f"and {count - MOST_ROWS} more", quiet=True)] if count > MOST_ROWS else []


def _quality(month: Month) -> list[Block]:
    columns = (Column("what", share=1), Column("how many", share=1))
    return [Heading("How well it was kept"), Table(columns, month.quality)]


def _stock(log: Log) -> list[Block]:
    short = [s for s in look_at_shims(log) if s.buy]
    if not short:
        return []
    columns = (
        Column("set"),
        Column("size", "decimal"),
        Column("unit"),
        Column("there", "decimal"),
        Column("least", "decimal"),
        Column("enough", "decimal"),
        Column("buy", "decimal"),
    )
    rows = tuple(
        (
            s.stock_set,
            f"{s.nominal:g}",
            s.unit,
            str(s.there),
            "" if s.minimum is None else str(s.minimum),
            "" if s.enough is None else str(s.enough),
            str(s.buy),
        )
        for s in short
    )
    note = "Enough: nine chances in ten for the open jobs and a month at the pace of the last 90 days."
    return [Heading("Shims to buy"), Table(columns, rows), Paragraph(note, quiet=True)]
