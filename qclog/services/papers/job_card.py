"""The job card: a code to scan, what is wanted, and room to write where there is no screen."""

from __future__ import annotations

from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.names import fault_of
from qclog.report.codes import draw_code
from qclog.report.document import Block, Column, Document, Facts, Heading, Notice, Paragraph, Table
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.papers import build_record, paper
from qclog.store.log import Log
from qclog.words.numbers import limits_text, unit_name
from qclog.words.sentences import reading_text


def job_card(log: Log, job: str) -> Document:
    """The card that goes with a job. UnknownNameError if there is none."""
    story = jobs.tell(log, job)
    blocks: list[Block] = [build_record.facts(story), *_variant(story)]
    if story.job.outstanding:
        blocks.append(Notice("Outstanding", story.job.outstanding))
    blocks += build_record.cautions(story)
    for stage in dict.fromkeys(w.place.stage for w in story.wanted):
        blocks += _places(story, stage)
    has_code = fault_of(job) is None  # a log of an older qclog may hold names that no code can
    scan = "Scan the code at the bench to open this job. " if has_code else ""
    written = "What is written here by hand is entered later and kept as a late entry: write the gauge and who read it"
    blocks.append(Paragraph(f"{scan}{written} beside each reading.", quiet=True))
    return paper.frame(log, "Job card", f"job {job}", blocks, draw_code("job", job) if has_code else None)


def _variant(story: Story) -> list[Block]:
    """What differs in this variant."""
    variant = next((v for v in story.sheet.variants if v.code == story.job.variant), None)
    if variant is None or not variant.details:
        return []
    return [Facts(tuple((name.replace("_", " "), value) for name, value in variant.details))]


def _places(story: Story, stage: str) -> list[Block]:
    """The places of a stage in the order they are wanted, with what was read already."""
    wanted = [w for w in story.wanted if w.place.stage == stage]
    read = {(t.row.characteristic, t.row.position): t for t in story.readings if t.row.counts and t.row.stage == stage}
    rows = []
    for n, w in enumerate(wanted):
        told = read.get((w.characteristic.code, w.place.position))
        first = n == 0 or wanted[n - 1].characteristic.code != w.characteristic.code
        rows.append(
            (
                _name(w) if first else "",
                w.place.position,
                limits_text(story.limits_for(w)) if first else "",
                unit_name(w.characteristic) if first else "",
                reading_text(told.row) if told else "",
                (told.row.gauge or "") if told else "",
                told.row.technician if told else "",
            )
        )
    columns = (
        Column("what", share=3),
        Column("at"),
        Column("limits", share=1.6),
        Column("unit"),
        Column("reading", share=1.5),
        Column("gauge", share=1),
        Column("read by", share=1),
    )
    return [Heading(STAGE_WORDS[stage].capitalize()), Table(columns, tuple(rows), roomy=True)]


def _name(w: Wanted) -> str:
    view = f" ({w.characteristic.view})" if w.characteristic.view and w.characteristic.positions else ""
    return w.characteristic.name + view
