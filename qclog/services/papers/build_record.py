"""The build record of a job: what left the shop, for the customer and the file."""

from __future__ import annotations

from qclog.domain.jobs import STAGE_WORDS, STAGES
from qclog.domain.moments import show_moment
from qclog.measures.results import Result
from qclog.report.codes import draw_code
from qclog.report.document import Block, Column, Document, Facts, Heading, Lines, Notice, Paragraph, Points, Table
from qclog.services.jobs import jobs
from qclog.services.jobs.as_left import AsLeft, as_left
from qclog.services.jobs.jobs import Story, StoryReading
from qclog.services.jobs.remarks import became_of
from qclog.services.keeping import verifying
from qclog.services.papers import origins, paper
from qclog.store.log import Log
from qclog.words.numbers import number_text, plural, unit_name
from qclog.words.sentences import asked_text, reading_text, uncertainty_text, verdict_text

RELEASE = (
    "Oil: grade and quantity, or dry",
    "Running-in and first oil change",
    "Seal or tamper mark",
    "Released by (name, date)",
    "Checked by a second person (name, date)",
)
CUSTOMER = (
    "Check the oil before the first start, fit what is listed as outstanding, and line up couplings as the maker's"
    " manual says. Wrong preload, an unlocked nut or a missing part can lock or lose the drive: if it runs hot, knocks"
    " or leaks, stop and tell us before it is opened."
)


def build_record(log: Log, job: str) -> Document:
    """The build record of a job. UnknownNameError if there is none."""
    now = jobs.tell(log, job)
    left = as_left(log, now)
    story, log = (now, log) if left is None else (left.story, left.log)
    blocks: list[Block] = [
        facts(story),
        *standing(story),
        Heading("As it left" if story.job.dispatched else "As it stands"),
    ]
    blocks += _readings(story, "final") or [Paragraph("No final readings are in the log.")]
    blocks += _worked_out(story)
    for stage in ("as_found", "trial", "return"):
        found = _readings(story, stage)
        if found:
            blocks += [Heading(f"Readings, {STAGE_WORDS[stage]}"), *found]
    blocks += _remarks(story)
    blocks += parts(story)
    blocks += entered_after(left)
    if story.job.dispatched is None:
        blocks += [Heading("At dispatch"), Lines(RELEASE)]
    if story.sheet.caution:
        blocks.append(Notice("Caution", story.sheet.caution))
    blocks.append(Notice("For whoever fits it", CUSTOMER))
    stood = verifying.job_digest(log, job)
    blocks.append(Paragraph(f"Digest of the log at the last entry about this job (entry {stood.entry}): {stood.text}"))
    digests = origins.origins_of(log, story)
    made_from = "; ".join(f"{o.what} {o.short}" for o in digests)
    blocks.append(Paragraph(f"Made from, with the first letters of each digest (SHA-256): {made_from}.", quiet=True))
    return paper.frame(log, "Build record", f"job {job}", blocks, draw_code("job", job))


def facts(story: Story) -> Facts:
    """What the unit is."""
    job, zone = story.job, story.zone
    variant = next((v for v in story.sheet.variants if v.code == job.variant), None)
    pairs = (
        ("unit", f"{story.sheet.name} ({job.case_type})"),
        ("serial", job.case_serial),
        ("casting", job.casting),
        ("rebuild", job.rebuild),
        ("variant", f"{variant.code}: {variant.name}" if variant else job.variant),
        ("machining batch", job.machining_batch),
        ("customer", job.customer_ref),
        ("opened", show_moment(job.opened, zone)),
        ("dispatched", show_moment(job.dispatched, zone) or "not yet"),
        ("sheet", f"version {', '.join(sorted({t.version for t in story.readings} or {story.sheet.version}))}"),
    )
    return Facts(tuple((name, str(value)) for name, value in pairs if value not in (None, "")))


def standing(story: Story) -> list[Block]:
    """What must not be overlooked: outstanding items, a concession, places without a reading."""
    blocks: list[Block] = []
    if story.job.outstanding:
        blocks.append(Notice("Outstanding", story.job.outstanding))
    if story.job.concession:
        blocks.append(Notice("Released on concession", story.job.concession))
    missing = [w for w in story.missing if w.place.stage == "final"]
    if missing:
        names = dict.fromkeys(w.characteristic.name for w in missing)
        said = f"{plural(len(missing), 'final place')}: {', '.join(names)}"
        blocks.append(Notice("Without a reading", said))
    return blocks


def entered_after(left: AsLeft | None) -> list[Block]:
    """What was entered after the unit had left, and never overwrites what left; nothing for most."""
    if left is None or not left.later:
        return []
    told = Points(tuple(left.later_text(one) for one in left.later))
    return [Heading(f"Entered after it had left ({len(left.later)}): not part of what left"), told]


def cautions(story: Story) -> list[Block]:
    """The sheet's own cautions, for whoever does the work."""
    said = dict.fromkeys([story.sheet.caution, *(c.caution for c in story.sheet.characteristics)])
    told = tuple(text for text in said if text)
    return [Heading("Cautions"), Points(told)] if told else []


def parts(story: Story) -> list[Block]:
    """Parts and lots."""
    if not story.parts:
        return []
    columns = [Column("part", share=2), Column("lot", share=2), Column("supplier", share=2), Column("condition")]
    if any(p.sub_assembly for p in story.parts):
        columns.append(Column("built as job"))
    rows = [(p.part.replace("_", " "), p.lot, p.supplier, p.condition, p.sub_assembly) for p in story.parts]
    shown = tuple(tuple(cell or "" for cell in row[: len(columns)]) for row in rows)
    return [Heading("Parts and lots"), Table(tuple(columns), shown)]


def _readings(story: Story, stage: str) -> list[Block]:
    """One row for each place read at a stage: the reading that counts there."""
    mine = [t for t in story.readings if t.row.counts and t.row.stage == stage and t.characteristic is not None]
    if not mine:
        return []
    judged = any(asked_text(t.characteristic, t.verdict) or _stands(t) for t in mine if t.characteristic)
    rows = [_row(t, story) for t in mine]
    columns = (
        Column("what", share=3),
        Column("at"),
        Column("read", "decimal"),
        Column("unit"),
        Column("limits that day", share=1.9),
        Column("stands", share=1.6),
        Column("gauge", share=0.8),
        Column("read by", share=0.8),
        Column("on"),
    )
    shown = [n for n in range(len(columns)) if judged or columns[n].heading not in ("limits that day", "stands")]
    return [
        Table(
            tuple(columns[n] for n in shown),
            tuple(tuple(row[n] for n in shown) for row in without_repeats(rows, (0, 4, 6, 7, 8))),
            frozenset(n for n, t in enumerate(mine) if t.verdict.out),
        )
    ]


def _row(told: StoryReading, story: Story) -> tuple[str, ...]:
    said, unit = said_and_unit(told)
    row = told.row
    name = told.characteristic.name if told.characteristic else row.characteristic
    conditions = (row.conditions or "").replace(" ", ", ").replace("_", " ")
    return (
        f"{name}; {conditions}" if conditions else name,
        row.position,
        said,
        unit,
        asked_text(told.characteristic, told.verdict) if told.characteristic else "",
        _stands(told),
        row.gauge or "",
        row.technician,
        show_moment(row.taken_at, story.zone)[:10],
    )


def _stands(told: StoryReading) -> str:
    return verdict_text(told.verdict, told.characteristic)


def said_and_unit(told: StoryReading) -> tuple[str, str]:
    """A reading as it was said, and its unit where what was said has none."""
    said = str(told.row.said)
    whole = reading_text(told.row)
    return said, whole.removeprefix(said).strip()


def without_repeats(rows: list[tuple[str, ...]], columns: tuple[int, ...]) -> list[tuple[str, ...]]:
    """Rows in which cells of the first column's group are left blank where they only repeat the row above."""
    shown = []
    for n, row in enumerate(rows):
        above = rows[n - 1] if n else None
        same = above is not None and above[columns[0]] == row[columns[0]]
        shown.append(
            tuple(
                "" if same and i in columns and above is not None and above[i] == cell else cell
                for i, cell in enumerate(row)
            )
        )
    return shown


def _worked_out(story: Story) -> list[Block]:
    """What follows from the final readings."""
    done = [d for d in story.derived if d.known and d.stage == "final"]
    if not done:
        return []
    columns = (
        Column("worked out", share=3),
        Column("value", "decimal"),
        Column("give or take", "decimal"),
        Column("unit"),
        Column("limits that day", share=2),
        Column("stands", share=2),
    )
    rows = tuple(
        (
            d.characteristic.name,
            _number_or_end(d),
            uncertainty_text(d.u, d.characteristic).removesuffix(d.characteristic.unit).strip(),
            unit_name(d.characteristic),
            asked_text(d.characteristic, d.verdict),
            verdict_text(d.verdict, d.characteristic),
        )
        for d in done
    )
    return [Table(columns, rows, frozenset(n for n, d in enumerate(done) if d.verdict.out))]


def _number_or_end(d: Result) -> str:
    """The number, or with its sign the end that is known."""
    if d.value is not None:
        return number_text(d.value, d.characteristic, u=d.u)
    if d.high is None:
        return f"≥ {number_text(d.low, d.characteristic)}"
    return f"≤ {number_text(d.high, d.characteristic)}"


def _remarks(story: Story) -> list[Block]:
    """Readings that were corrected or taken again."""
    others = [t for t in story.readings if not t.row.counts]
    if not others:
        return []
    order = {stage: n for n, stage in enumerate(STAGES)}
    others.sort(key=lambda t: order[t.row.stage])
    columns = (
        Column("what", share=3),
        Column("stage"),
        Column("at"),
        Column("read", "decimal"),
        Column("unit"),
        Column("what became of it", share=3),
        Column("read by"),
    )
    rows = tuple(
        (
            t.characteristic.name if t.characteristic else t.row.characteristic,
            STAGE_WORDS[t.row.stage],
            t.row.position,
            *said_and_unit(t),
            became_of(t, story),
            t.row.technician,
        )
        for t in others
    )
    return [Heading(f"Readings that no longer count ({len(rows)}), kept in the log"), Table(columns, rows)]
