"""Jobs: opened, added to, found; what is wanted next; and the whole story of one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.jobs import DETAILS, STAGES, Job, Part
from qclog.domain.places import Place
from qclog.domain.rights import Act, act_of_detail
from qclog.domain.sheets.casetypes import Characteristic, Limits, Sheet, Version, condition_of_parts, version_at
from qclog.errors import InputError, UnknownNameError
from qclog.measures.judging import NOT_JUDGED, Verdict, judge_reading
from qclog.measures.results import Result, work_out_all
from qclog.services.keeping import rights, sheets
from qclog.store import records
from qclog.store.log import Log, Submission, Use

MOST_LISTED = 500
FEWEST_WORDS, FEWEST_LETTERS = 2, 7  # of a concession: "x" lets everything pass and says nothing


@dataclass(frozen=True, slots=True)
class Wanted:
    """A place that the sheet wants a reading at, and whether one that counts is there."""

    place: Place
    characteristic: Characteristic
    done: bool


@dataclass(frozen=True, slots=True)
class StoryReading:
    """One reading of a job: the row of the log, its characteristic, and how it stood by the limits of that day."""

    row: stored.JobReading
    characteristic: Characteristic | None
    verdict: Verdict
    version: str
    later: LaterLimits | None = None


@dataclass(frozen=True, slots=True)
class LaterLimits:
    """How a reading stands by a sheet that was entered after it for a time before it: told beside, never instead."""

    verdict: Verdict
    version: str
    entered_at: datetime | None
    by: str


@dataclass(frozen=True, slots=True)
class Story:
    """Everything the log has of one job, times in UTC."""

    job: stored.Job
    sheet: Sheet
    zone: ZoneInfo
    readings: tuple[StoryReading, ...]
    derived: tuple[Result, ...]
    wanted: tuple[Wanted, ...]
    details: tuple[stored.JobDetail, ...]
    parts: tuple[stored.JobPart, ...]
    comebacks: tuple[stored.JobComeback, ...]
    visits: tuple[stored.Visit, ...]

    @property
    def missing(self) -> tuple[Wanted, ...]:
        """The places still without a reading."""
        return tuple(w for w in self.wanted if not w.done)

    def limits_for(self, wanted: Wanted) -> Limits | None:
        """What a reading at a place will be judged by, new or re-used as this job's parts are; None if by nothing."""
        parts = [(p.part, p.condition) for p in self.parts]
        condition = condition_of_parts(wanted.characteristic, parts)
        found = wanted.characteristic.limit_set(wanted.place.stage, condition)
        return found[1] if found else None


def open_job(log: Log, job: Job, submission: Submission) -> None:
    """Open a job. InputError if there is one of that number; UnknownNameError without a sheet for its case type."""
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.OPEN_JOB)
        for name in (n for n in DETAILS if getattr(job, n) is not None):
            rights.need(use, submission.by, act_of_detail(name))
        records.need(use, "sheet", "case_type", job.case_type, "case type")
        if use.rows("job_by_id", stored.Job, job=job.job):
            raise InputError(
                "there is a job of that number",
                field="job",
                found=job.job,
                hint="go on with it, or choose another number",
            )
        _check_variant(use, job.case_type, job.variant)
        records.add_job(use, job)


def say(log: Log, job: str, name: str, value: object, submission: Submission, reason: str | None = None) -> None:
    """Say something of a job (one of `DETAILS` of the domain); what was said before stays in the log."""
    with log.writing(submission) as use:
        row = _job(use, job)
        rights.need(use, submission.by, act_of_detail(name))
        if name == "variant" and isinstance(value, str):
            _check_variant(use, row.case_type, value)
        if name == "concession" and str(value or "").strip():
            check_concession(str(value))
        records.add_detail(use, job, name, value, reason)
        if name == "dispatched" and value is not None:
            records.add_sign_off(use, job)


def check_concession(text: str) -> None:
    """InputError unless a concession says in words what is let pass and why."""
    if len(text.split()) < FEWEST_WORDS or sum(c.isalpha() for c in text) < FEWEST_LETTERS:
        raise InputError(
            "a concession needs its reason in words",
            field="concession",
            found=text or "nothing",
            hint="say what is let pass and why, such as: 0.5 over, new seal is stiff, runs in",
        )


def add_part(log: Log, part: Part, submission: Submission) -> None:
    """Add a part to a job."""
    with log.writing(submission) as use:
        _job(use, part.job)
        rights.need(use, submission.by, Act.FIT_PART)
        if part.sub_assembly is not None:
            records.need(use, "job", "job", part.sub_assembly, "job")
        records.add_part(use, part)


def list_jobs(log: Log, text: str = "", most: int = MOST_LISTED) -> list[stored.ListedJob]:
    """Jobs, the last touched first; or those whose number, serial, batch, customer reference or lot holds `text`."""
    with log.reading() as use:
        if text.strip():
            return use.rows("jobs_found", stored.ListedJob, text=text.strip(), most=most)
        return use.rows("jobs", stored.ListedJob, most=most)


def list_with_zone(log: Log, text: str = "", most: int = MOST_LISTED) -> tuple[list[stored.ListedJob], ZoneInfo]:
    """The same, with the time zone that their times are to be shown in."""
    with log.reading() as use:
        return list_jobs(log, text, most), sheets.timezone_of(use)


def revision(log: Log) -> int:
    """A number that changes with everything stored."""
    with log.reading() as use:
        return int(use.rows("revision", stored.Revision)[0].revision)


def counts(log: Log) -> stored.Counts:
    """How much there is: readings, jobs, case_types, comebacks."""
    with log.reading() as use:
        return use.rows("counts", stored.Counts)[0]


def _check_variant(use: Use, case_type: str, variant: str | None) -> None:
    known = [v.code for v in sheets.latest(use, case_type).variants]
    if variant is not None and known and variant not in known:
        raise InputError(
            f"{case_type} has no such variant", field="variant", found=variant, hint="it has " + ", ".join(known)
        )


def _job(use: Use, job: str) -> stored.Job:
    rows = use.rows("job_by_id", stored.Job, job=job)
    if not rows:
        records.need(use, "job", "job", job, "job")
        raise UnknownNameError("no such job", field="job", found=job)
    return rows[0]


def wanted_places(sheet: Sheet, variant: str | None, job: str, done: set[tuple[str, str, str]]) -> tuple[Wanted, ...]:
    """What the sheet wants read, stage by stage in its order; `done` holds (characteristic, stage, position)."""
    return tuple(
        Wanted(Place(job, c.code, stage, position), c, (c.code, stage, position) in done)
        for stage in STAGES
        if stage != "return"
        for c in sheet.measured(variant)
        if stage in c.stages
        for position in c.positions or ("",)
    )


def wanted(log: Log, job: str) -> tuple[Wanted, ...]:
    """What a job's sheet wants, and what is there."""
    return tell(log, job).wanted


def tell(log: Log, job: str) -> Story:
    """The whole story of a job. UnknownNameError if there is none."""
    with log.reading() as use:
        row = _job(use, job)
        versions = sheets.versions(use, row.case_type)
        readings = use.rows("job_readings", stored.JobReading, job=job)
        details = use.rows("job_details", stored.JobDetail, job=job)
        parts = use.rows("job_parts", stored.JobPart, job=job)
        comebacks = use.rows("job_comebacks", stored.JobComeback, job=job)
        visits = (
            use.rows("job_visits", stored.Visit, case_type=row.case_type, case_serial=row.case_serial)
            if row.case_serial
            else []
        )
        zone = sheets.timezone_of(use)
    moment = max((r.taken_at for r in readings), default=row.opened)
    sheet = version_at(versions, moment, None if row.dispatched is None else _known_by(readings, row)).sheet
    conditions = [(p.part, p.condition) for p in parts]
    told = tuple(_judged(r, versions, conditions) for r in readings)
    done = {(r.characteristic, r.stage, r.position) for r in readings if r.counts}
    return Story(
        job=row,
        sheet=sheet,
        zone=zone,
        readings=told,
        derived=work_out_all(sheet, readings, conditions),
        wanted=wanted_places(sheet, row.variant, job, done),
        details=tuple(details),
        parts=tuple(parts),
        comebacks=tuple(comebacks),
        visits=tuple(visits),
    )


def _judged(row: stored.JobReading, versions: tuple[Version, ...], parts: list[tuple[str, str | None]]) -> StoryReading:
    known = version_at(versions, row.taken_at, row.entry)
    characteristic, verdict = _stands(row, known.sheet, parts)
    afterwards = version_at(versions, row.taken_at)
    later = None
    if afterwards is not known:
        _, otherwise = _stands(row, afterwards.sheet, parts)
        if (otherwise.result, otherwise.limits) != (verdict.result, verdict.limits):
            later = LaterLimits(otherwise, afterwards.sheet.version, afterwards.entered_at, afterwards.by)
    return StoryReading(row, characteristic, verdict, known.sheet.version, later)


def _stands(
    row: stored.JobReading, sheet: Sheet, parts: list[tuple[str, str | None]]
) -> tuple[Characteristic | None, Verdict]:
    found = next((c for c in sheet.characteristics if c.code == row.characteristic), None)
    if found is None:
        return None, Verdict(NOT_JUDGED)
    condition = condition_of_parts(found, parts)
    verdict = judge_reading(found, stage=row.stage, condition=condition, low=row.low, high=row.high, word=row.word)
    return found, verdict


def _known_by(readings: list[stored.JobReading], job: stored.Job) -> int:
    return max((r.entry for r in readings), default=job.entry)
