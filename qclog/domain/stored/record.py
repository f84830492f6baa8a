"""Rows of the record itself: entries, digests, tables."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from qclog.domain.stored.kinds import of


@of("revision")
class Revision(NamedTuple):
    """One row: the number of the last entry, which changes with everything stored."""

    revision: int


@of("counts")
class Counts(NamedTuple):
    """One row: how much there is."""

    readings: int
    jobs: int
    gauges: int
    people: int
    comebacks: int
    case_types: int


@of("entries")
class Entry(NamedTuple):
    """One row per entry, in order."""

    entry: int
    entered_at: datetime
    entered_by: str
    via: str
    what: str


@of("entry_by_number")
class EntryByNumber(NamedTuple):
    """At most one row: who made an entry, when, by what way, for what."""

    entry: int
    entered_at: datetime
    entered_by: str
    via: str
    what: str


@of("entry_of_submission")
class EntryOfSubmission(NamedTuple):
    """At most one row: the number of the entry that a submission was stored as."""

    entry: int


@of("digests")
class Digest(NamedTuple):
    """One row per digest of the chain, in order; the first, of entry 0, is of the settings and nobody entered it."""

    entry: int
    how: str
    digest: str
    entered_at: datetime | None
    entered_by: str | None
    what: str | None


@of("last_digest")
class LastDigest(NamedTuple):
    """At most one row: the last entry and its digest."""

    entry: int
    digest: str
    entered_at: datetime


@of("job_digest")
class JobDigest(NamedTuple):
    """At most one row: the last entry that said anything of a job, and its digest."""

    entry: int
    digest: str
    entered_at: datetime


@of("state_for_findings")
class StateForFindings(NamedTuple):
    """One row: what the findings follow from."""

    entry: int
    digest: str
    sheets: int


@of("table_columns")
class TableColumn(NamedTuple):
    """One row per column of the log's tables, in their order."""

    table_name: str
    column_name: str
    data_type: str
    is_nullable: bool


@of("tables_of_the_log")
class TableOfTheLog(NamedTuple):
    """One row per table of the log."""

    table_name: str


@of("table_keys")
class TableKey(NamedTuple):
    """One row per key of the log's tables: a primary key, or a foreign key and what it points at."""

    table_name: str
    kind: str
    columns: list[str]
    referenced_table: str | None
    referenced_columns: list[str]
