"""Sheets in the log: added, and found by the time a reading was taken."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from functools import lru_cache
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.moments import now
from qclog.domain.rights import Act
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.sheets.casetypes import Sheet, Version, version_at
from qclog.errors import InputError
from qclog.services.keeping import rights
from qclog.store import records
from qclog.store.log import Log, Submission, Use


@lru_cache(maxsize=200)
def parsed(text: str) -> Sheet:
    """The sheet of a text that was checked when it was stored."""
    return read_sheet(text, stored=True)


def versions(use: Use, case_type: str) -> tuple[Version, ...]:
    """Every version of one case type's sheet. UnknownNameError if the log has none."""
    rows = use.rows("sheets_of", stored.SheetOfType, case_type=case_type)
    if not rows:
        records.need(use, "sheet", "case_type", case_type, "case type")
    return tuple(Version(parsed(row.text), row.since, row.entry, row.entered_at, row.by) for row in rows)


def sheet_at(use: Use, case_type: str, moment: datetime) -> Sheet:
    """The sheet in force at `moment` (UTC)."""
    return version_at(versions(use, case_type), moment).sheet


def latest(use: Use, case_type: str) -> Sheet:
    """The sheet in force at the moment that the log tells of: now, mostly."""
    return sheet_at(use, case_type, use.moment)


def begins(sheet: Sheet, first: bool, zone: ZoneInfo, moment: datetime) -> datetime | None:
    """When a sheet being stored comes into force (UTC): its own date, or the beginning for a first, or now."""
    if sheet.in_force is not None:
        local = datetime.combine(sheet.in_force, time(), tzinfo=zone)
        return local.astimezone(UTC).replace(tzinfo=None)
    return None if first else moment


def add(log: Log, sheet: Sheet, submission: Submission) -> str:
    """Store a version of a sheet; a sentence saying what happened.

    InputError if the version is in the log with another text: what a reading was judged by never changes.
    """
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.CHANGE_SHEETS)
        before = {row.version: row.text for row in use.rows("sheets_of", stored.SheetOfType, case_type=sheet.code)}
        if sheet.version in before and before[sheet.version] != sheet.text:
            raise InputError(
                f"the log has version {sheet.version} of {sheet.code} with another text",
                field="version",
                found=sheet.version,
                hint="give the changed sheet a new version",
            )
        if sheet.version in before:
            raise InputError(
                f"the log has version {sheet.version} of {sheet.code} already, the same text",
                field="version",
                found=sheet.version,
                hint="nothing to do",
            )
        records.add_sheet(use, sheet, begins(sheet, not before, timezone_of(use), now()))
    return f"{sheet.code} version {sheet.version} is in the log"


def timezone_of(use: Use) -> ZoneInfo:
    """The time zone of the log's local times."""
    settings = {row.name: row.value for row in use.rows("settings", stored.Setting)}
    return ZoneInfo(settings["timezone"])


def zone_of(log: Log) -> ZoneInfo:
    """The time zone of the log's local times, where that is all that is wanted of it."""
    with log.reading() as use:
        return timezone_of(use)


def latest_of(log: Log, case_type: str) -> Sheet:
    """The sheet of a case type in force now. UnknownNameError if the log has none."""
    with log.reading() as use:
        return latest(use, case_type)


def known_case_types(use: Use) -> list[str]:
    """The codes of all case types."""
    return [row.case_type for row in use.rows("case_types", stored.CaseType)]


@dataclass(frozen=True, slots=True)
class Overview:
    """One case type at a glance."""

    sheet: Sheet
    jobs: int
    first_opened: datetime | None
    last_opened: datetime | None


def overview(log: Log) -> list[Overview]:
    """Every case type with the sheet in force now and how many jobs there are."""
    with log.reading() as use:
        rows = use.rows("case_types", stored.CaseType)
        return [Overview(latest(use, r.case_type), r.jobs, r.first_opened, r.last_opened) for r in rows]
