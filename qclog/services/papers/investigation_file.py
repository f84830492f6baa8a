"""The investigation file: the paper, and every reading and the recall list as tables for a spreadsheet."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path

from qclog.domain.moments import show_moment
from qclog.report.document import Block, Column, Document, Heading, NewPage, Notice, Paragraph, Points, Table
from qclog.report.html import write_html
from qclog.report.pdf import set_pdf
from qclog.report.spreadsheet import write_csv
from qclog.services.keeping import verifying
from qclog.services.keeping.output import new_folder
from qclog.services.papers import build_record, origins, paper
from qclog.services.papers import investigation_tables as tables
from qclog.services.papers.investigation_tables import Grid
from qclog.services.papers.origins import Origin, digest_of
from qclog.services.papers.unit_charts import unit_charts
from qclog.services.tracing.sisters import Link, count_text
from qclog.services.tracing.tracing import Trace, UnitTrace
from qclog.services.watch import finding_words
from qclog.words.numbers import plural

GRADED = (
    "Grades are suggested from the log by fixed rules and are deliberately hard to earn. A person who has seen the"
    " parts decides, and writes the decision down."
)
SHARES = {
    "what": 3.0,
    "why this grade": 4.0,
    "what would settle it": 2.0,
    "remarks": 2.0,
    "limits that day": 1.5,
    "stands": 1.4,
    "remark": 1.2,
    "why": 5.0,
    "part": 1.5,
    "lot": 1.0,
    "supplier": 1.5,
    "who else": 1.0,
    "shared": 3.0,
    "do they come back more often?": 3.0,
    "shares": 2.0,
    "where now": 2.0,
    "complaint": 1.5,
    "outstanding": 1.0,
    "serial": 1.0,
    "gauge": 1.0,
    "95 % interval": 1.0,
    "gauges": 2.0,
    "outside limits": 3.0,
    "comebacks": 2.0,
    "came back of those": 2.4,
}


def investigation_file(trace: Trace, links: Sequence[Link] | None = None) -> Document:
    """The paper of a trace; `links`: what the recall list goes by (None: what it would most likely go by)."""
    chosen = _chosen(trace, links)
    blocks: list[Block] = []
    if trace.unit is not None:
        blocks += _unit(trace.unit)
    blocks += _sharing(trace, chosen)
    blocks += _comebacks(trace)
    if trace.unit is not None:
        blocks += [NewPage(), Heading("Every reading, attempt and correction"), *table(_all_readings(trace.unit))]
    blocks += _origins(trace, chosen)
    return paper.frame(trace.log, "Investigation", trace.subject.words, blocks)


def table(grid: Grid, *, roomy: bool = False) -> list[Block]:
    """A grid as a table on paper; nothing for an empty one."""
    if not grid.rows:
        return []
    shown = grid.without_empty()
    columns = tuple(Column(h, "decimal" if h in shown.numbers else "left", SHARES.get(h)) for h in shown.headings)
    return [Table(columns, shown.rows, roomy=roomy)]


def _chosen(trace: Trace, links: Sequence[Link] | None) -> Sequence[Link]:
    if links is not None:
        return links
    return trace.suggested


def _unit(unit: UnitTrace) -> list[Block]:
    story = unit.story
    blocks: list[Block] = [build_record.facts(story)]
    for back in story.comebacks:
        hours = f" after {back.hours:g} h" if back.hours is not None else ""
        said = [f"{show_moment(back.returned, story.zone)[:10]}{hours}: {back.complaint or 'no complaint noted'}"]
        said += [f"Found: {back.finding}"] if back.finding else []
        said += [f"Ours: {back.attributable}"] if back.attributable else []
        blocks.append(Notice("Came back", ". ".join(said) + "."))
    for visit in story.visits:
        if visit.job != unit.job:
            when = show_moment(visit.opened, story.zone)[:10]
            blocks.append(Paragraph(f"The same case was here as job {visit.job}, opened {when}."))
    blocks += build_record.standing(unit.built)
    blocks += [Heading("The evidence, graded"), Paragraph(GRADED, quiet=True)]
    blocks += table(tables.evidence_grid(unit)) or [Paragraph("Nothing in the log stands against this job.")]
    blocks += [Heading("What left us, by the limits in force that day")]
    outside = [o.text for o in unit.outside]
    blocks.append(Points(tuple(outside)) if outside else Paragraph("Nothing left outside limits or too close to call."))
    blocks += build_record.entered_after(unit.left)
    blocks += unit_charts(unit)
    blocks += [Heading("As received against as built")]
    blocks += table(tables.changes_grid(unit)) or [
        Paragraph("Nothing was read as it came back that had been read before it left.")
    ]
    blocks += [Heading("Were the gauges right that day?"), *table(tables.gauges_grid(unit))]
    blocks += [
        Heading("Each value among its peers"),
        Paragraph(
            "Places are counted from the lowest, among units of the same case type, stage, parts and cases: then, when"
            " it was read, and now.",
            quiet=True,
        ),
        *table(tables.peers_grid(unit)),
    ]
    if story.parts:
        blocks += [Heading("Parts and lots"), *table(tables.parts_grid(unit))]
    if unit.inside:
        blocks += [Heading("Sub-assemblies built earlier"), *table(tables.inside_grid(unit))]
    return blocks


def _sharing(trace: Trace, chosen: Sequence[Link]) -> list[Block]:
    blocks: list[Block] = []
    for link in trace.findings:
        if link.finding is not None:
            said = finding_words.tell(link.finding, trace.shop.jobs_out, trace.shop.zone)
            blocks += [Heading("What the readings point to"), Paragraph(said[0]), Points(tuple(said[1:]))]
    if trace.links:
        of_unit = trace.unit is not None
        heading = "What it shares with other units" if of_unit else "Do such units come back more often?"
        blocks += [Heading(heading), *table(tables.links_grid(trace, trace.links))]
    recalled = trace.recall(chosen)
    if recalled:
        words = "; ".join(link.words.rstrip(".") for link in chosen)
        blocks += [Heading("Recall list"), Paragraph(f"{words}. {count_text(trace.shop, recalled)}.")]
        grid = tables.recall_grid(recalled)
        alike = len({r.shares for r in recalled}) == 1
        kept = [n for n, h in enumerate(grid.headings) if not (h == "shares" and alike)]
        rows = tuple(tuple(row[n] for n in kept) for row in grid.rows)
        blocks += table(Grid(tuple(grid.headings[n] for n in kept), rows))
    return blocks


def _comebacks(trace: Trace) -> list[Block]:
    blocks: list[Block] = [Heading(tables.risks_title(trace.shop)), *table(tables.risks_grid(trace.risks))]
    for case_type in trace.case_types:
        going = trace.going(case_type)
        if not any(g.p is not None for g in going):
            blocks.append(Paragraph(f"{case_type}: too few comebacks to say whether any reading goes with them."))
            continue
        blocks += [Heading(f"Do final readings of {case_type} go with comebacks?"), *table(tables.going_grid(going))]
        without = [g for g in trace.going(case_type, without_explained=True) if g.p is not None]
        left_out = sum(trace.shop.by_job[job].case_type == case_type for job in trace.explained)
        blocks.append(
            Heading(f"The same without the {plural(left_out, 'unit')} that findings or doubtful gauges touch", 2)
        )
        blocks += table(tables.going_grid(without)) or [Paragraph("Too few to say.")]
    blocks.append(
        Paragraph(
            "Odds are for one ordinary spread towards the side that goes with more comebacks. Comebacks recorded as not"
            " ours count as none. The chance p allows for how many characteristics were"
            " looked at, and time since dispatch is allowed for. That a reading goes with comebacks does not make it"
            " the cause.",
            quiet=True,
        )
    )
    return blocks


def _all_readings(unit: UnitTrace) -> Grid:
    """What paper has room for; the spreadsheet has the rest."""
    grid = tables.readings_grid(unit)
    left_out = ("entered", "entered by", "sheet", "limits that day")
    kept = [n for n, h in enumerate(grid.headings) if h not in left_out]
    rows = tuple(tuple(row[n] for n in kept) for row in grid.rows)
    return Grid(tuple(grid.headings[n] for n in kept), rows, grid.numbers)


def _origins(trace: Trace, chosen: Sequence[Link]) -> list[Block]:
    made = list(origins.origins_of(trace.log, trace.unit.story)) if trace.unit else []
    made += [
        Origin(f"{name}, as in this file", hashlib.sha256(text.encode("utf-8")).hexdigest())
        for name, text in spreadsheets(trace, chosen).items()
    ]
    listed = trace.shop.jobs.filter(trace.shop.jobs["job"].is_in(list(trace.subject.jobs)))
    made.append(Origin(f"the {plural(len(listed), 'job')} asked for", digest_of(listed.to_dicts())))
    stood = verifying.short_digest(trace.log)
    rows = (
        (f"the whole log up to entry {stood.entry}: its digest as in the day book", stood.text),
        *((o.what, o.digest) for o in made),
    )
    columns = (Column("what", share=2), Column("digest (SHA-256)", share=3))
    return [Heading("What this was made from"), Table(columns, rows)]


def spreadsheets(trace: Trace, links: Sequence[Link] | None = None) -> dict[str, str]:
    """The tables for a spreadsheet by file name: readings of the unit, and the recall list."""
    found = {}
    if trace.unit is not None:
        grid = tables.readings_grid(trace.unit)
        found["readings.csv"] = write_csv(grid.headings, grid.rows)
    found["recall.csv"] = recall_csv(trace, _chosen(trace, links))
    return found


def recall_csv(trace: Trace, links: Sequence[Link]) -> str:
    """The recall list for a spreadsheet."""
    grid = tables.recall_grid(trace.recall(links))
    return write_csv(grid.headings, grid.rows)


def whole_file(trace: Trace, links: Sequence[Link] | None = None) -> dict[str, bytes]:
    """Everything of an investigation by file name: paper as PDF and HTML, tables as CSV."""
    document = investigation_file(trace, links)
    made = {"investigation.pdf": set_pdf(document), "investigation.html": write_html(document).encode("utf-8")}
    return made | {name: text.encode("utf-8") for name, text in spreadsheets(trace, links).items()}


def save_folder(trace: Trace, folder: Path, links: Sequence[Link] | None = None) -> tuple[Path, ...]:
    """Write the whole file into a new folder; the files written. InputError if it has something in it already."""
    made = whole_file(trace, links)
    with new_folder(folder) as part:
        for name, content in made.items():
            (part / name).write_bytes(content)
    return tuple(folder / name for name in made)


def packed(trace: Trace, links: Sequence[Link] | None = None) -> bytes:
    """The whole file in one ZIP; the same log gives the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in whole_file(trace, links).items():
            archive.writestr(zipfile.ZipInfo(f"{folder_name(trace)}/{name}", (2000, 1, 1, 0, 0, 0)), content)
    return out.getvalue()


def folder_name(trace: Trace) -> str:
    """A name for the folder or ZIP that any system takes."""
    return "investigation-" + (re.sub(r"[^A-Za-z0-9.-]+", "-", trace.subject.name).strip("-.") or "file")
