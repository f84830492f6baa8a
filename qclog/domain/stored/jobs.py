"""Rows of jobs, their parts and readings."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from qclog.domain.stored.kinds import of


@of("job_by_id", "jobs_all", "jobs_of_type")
class Job(NamedTuple):
    """One row per job as it stands."""

    job: str
    case_type: str
    case_serial: str | None
    casting: str | None
    rebuild: int | None
    machining_batch: str | None
    variant: str | None
    opened: datetime
    dispatched: datetime | None
    customer_ref: str | None
    outstanding: str | None
    concession: str | None
    entry: int


@of("jobs", "jobs_found")
class ListedJob(NamedTuple):
    """One row per job as it stands, with how many readings it has and when the last was taken."""

    job: str
    case_type: str
    case_serial: str | None
    casting: str | None
    rebuild: int | None
    machining_batch: str | None
    variant: str | None
    opened: datetime
    dispatched: datetime | None
    customer_ref: str | None
    outstanding: str | None
    concession: str | None
    entry: int
    readings: int
    last_taken: datetime | None


@of("jobs_in_work")
class JobInWork(NamedTuple):
    """One row per job that has not left, the last touched first."""

    job: str
    case_type: str
    case_serial: str | None
    dispatched: datetime | None


@of("jobs_coming")
class JobsComing(NamedTuple):
    """One row per case type: its jobs not dispatched yet, and those opened in the 90 days up to the last one opened."""

    case_type: str
    open_jobs: int
    opened_lately: int


@of("job_visits")
class Visit(NamedTuple):
    """One row per visit of the same case, in time order."""

    job: str
    opened: datetime
    dispatched: datetime | None
    rebuild: int | None
    machining_batch: str | None


@of("job_details")
class JobDetail(NamedTuple):
    """One row per thing said of the job, oldest first."""

    name: str
    value: str
    reason: str | None
    entry: int
    entered_at: datetime
    entered_by: str


@of("job_parts")
class JobPart(NamedTuple):
    """One row per part of the job."""

    part: str
    lot: str | None
    supplier: str | None
    condition: str | None
    sub_assembly: str | None
    entered_at: datetime
    entered_by: str


@of("parts_of_type", "parts_all")
class Part(NamedTuple):
    """One row per part."""

    job: str
    part: str
    lot: str | None
    supplier: str | None
    condition: str | None
    sub_assembly: str | None


@of("job_comebacks")
class JobComeback(NamedTuple):
    """One row per comeback of the job."""

    returned: datetime
    complaint: str | None
    finding: str | None
    attributable: str | None
    hours: float | None
    entered_at: datetime
    entered_by: str


@of("comebacks_all", "comebacks_now")
class Comeback(NamedTuple):
    """One row per comeback."""

    job: str
    returned: datetime
    complaint: str | None
    finding: str | None
    attributable: str | None
    hours: float | None


@of("job_readings")
class JobReading(NamedTuple):
    """One row per reading of the job, every attempt and correction kept, in the order they were taken. `counts` says"""

    id: UUID
    job: str
    characteristic: str
    stage: str
    position: str
    attempt: int
    said: str
    said_unit: str | None
    kind: str
    low: float | None
    high: float | None
    unit: str
    word: str | None
    gauge: str | None
    technician: str
    taken_at: datetime
    conditions: str | None
    note: str | None
    replaces: int | None
    reason: str | None
    entry: int
    struck_why: str | None
    struck_by: str | None
    replaced: bool
    corrected_again: bool
    entered_at: datetime
    entered_by: str
    via: str
    counts: bool


@of("last_reading")
class LastReading(NamedTuple):
    """At most one row: the last reading entered for the job that still counts."""

    id: UUID
    job: str
    characteristic: str
    stage: str
    position: str
    attempt: int
    said: str
    said_unit: str | None
    kind: str
    low: float | None
    high: float | None
    unit: str
    word: str | None
    gauge: str | None
    technician: str
    taken_at: datetime
    conditions: str | None
    note: str | None
    replaces: int | None
    reason: str | None
    entry: int


@of("attempts_here")
class AttemptHere(NamedTuple):
    """One row per attempt at one place of one job."""

    id: UUID
    attempt: int
    replaces: int | None
    kind: str
    low: float | None
    high: float | None
    word: str | None
    said: str
    gauge: str | None
    conditions: str | None
    entry: int
    technician: str
    entered_by: str


@of("attempts_of_type")
class AttemptOfType(NamedTuple):
    """One row per attempt of some characteristics in jobs of one case type, neither struck out nor corrected."""

    job: str
    characteristic: str
    stage: str
    position: str
    attempt: int
    low: float | None
    high: float | None


@of("readings_at_stage")
class ReadingAtStage(NamedTuple):
    """One row per place of one characteristic at one stage, over a case type's jobs: the reading that counts."""

    job: str
    position: str
    low: float | None
    high: float | None


@of("packs_fitted")
class PackFitted(NamedTuple):
    """One row per final pack that counts: the named characteristics of one case type, the latest job first."""

    job: str
    characteristic: str
    pack: float
    unit: str
    taken_at: datetime


@of("strikes_all")
class Strike(NamedTuple):
    """One row per strike-out, with the place of its reading."""

    job: str
    characteristic: str
    stage: str
    position: str
    attempt: int
    by: str
    reason: str | None


@of("reading_of_submission")
class ReadingOfSubmission(NamedTuple):
    """At most one row: the reading that a submission was stored as."""

    job: str
    characteristic: str
    stage: str
    position: str
    attempt: int
    said: str
    technician: str
