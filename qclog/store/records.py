"""What is written into the log, one function for each kind of row. Each works inside one transaction (`Use`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any
from uuid import UUID

from qclog.domain import stored
from qclog.domain.jobs import DETAILS, Gauge, Job, Part, Person
from qclog.domain.names import check_name
from qclog.domain.sheets.casetypes import Sheet
from qclog.errors import InputError, UnknownNameError
from qclog.store.ids import new_id
from qclog.store.log import Use

NAMES_OF_A_JOB = ("case_serial", "casting", "machining_batch", "variant", "customer_ref")


@dataclass(frozen=True, slots=True)
class NewReading:
    """A reading understood and ready to store; `low` and `high` are in `unit`, the characteristic's own.

    `attempt` None: the next free one at its place. `replaces`: the attempt it corrects, with a reason.
    """

    job: str
    characteristic: str
    stage: str
    position: str
    said: str
    said_unit: str | None
    kind: str
    low: float | None
    high: float | None
    unit: str
    word: str | None
    technician: str
    taken_at: datetime
    gauge: str | None = None
    conditions: str | None = None
    note: str | None = None
    replaces: int | None = None
    reason: str | None = None
    attempt: int | None = None


def add_person(use: Use, person: Person) -> None:
    """Add someone to the log."""
    check_name(person.person, "person")
    use.insert("person", person=person.person, role=person.role, entry=use.entry)


def add_person_detail(use: Use, person: str, name: str, value: str) -> None:
    """Say a person's new `role`, that they have `left`, or the hash of their `pin`; the latest of each counts."""
    use.insert("person_detail", id=new_id(), person=person, name=name, value=value, entry=use.entry)


def add_sign_on(use: Use, person: str, tried_at: datetime, *, good: bool) -> None:
    """Keep a try to sign on."""
    use.insert("sign_on", id=new_id(), person=person, tried_at=tried_at, good=good, entry=use.entry)


def add_gauge(use: Use, gauge: Gauge) -> None:
    """Add a gauge to the log."""
    check_name(gauge.gauge, "gauge")
    values = {column.name: getattr(gauge, column.name) for column in fields(gauge)}
    values["leaves"] = " ".join(f"{leaf:g}" for leaf in gauge.leaves) or None
    use.insert("gauge", **values, entry=use.entry)


def add_gauge_detail(use: Use, gauge: str, name: str, value: str) -> None:
    """Say something of a gauge later, such as the `tolerance` of its checks; the latest counts, '' takes it back."""
    use.insert("gauge_detail", id=new_id(), gauge=gauge, name=name, value=value, entry=use.entry)


def add_gauge_check(use: Use, gauge: str, checked_at: datetime, event: str, **values: object) -> None:
    """Add an event of a gauge: `reference`, `reading`, `unit`, `person`, `note`."""
    use.insert("gauge_check", id=new_id(), gauge=gauge, checked_at=checked_at, event=event, entry=use.entry, **values)


def add_sheet(use: Use, sheet: Sheet, since: datetime | None) -> None:
    """Add a version of a sheet, in force from `since` (UTC; None: from the beginning)."""
    use.insert("sheet", case_type=sheet.code, version=sheet.version, since=since, text=sheet.text, entry=use.entry)


def add_job(use: Use, job: Job) -> None:
    """Open a job."""
    check_name(job.job, "job")
    use.insert("job", job=job.job, case_type=job.case_type, opened=job.opened, entry=use.entry)
    for name in DETAILS:
        value = getattr(job, name)
        if value is not None:
            add_detail(use, job.job, name, value)


def add_detail(use: Use, job: str, name: str, value: object, reason: str | None = None) -> None:
    """Say something of a job. The latest counts; what was said before stays. None takes it back."""
    if name not in DETAILS:
        raise InputError("a job has no such detail", field=name, hint="it has " + ", ".join(DETAILS))
    if name in NAMES_OF_A_JOB and value is not None:
        check_name(str(value), name)
    text = "" if value is None else value.isoformat(sep=" ") if isinstance(value, datetime) else str(value)
    use.insert("job_detail", id=new_id(), job=job, name=name, value=text, reason=reason, entry=use.entry)


def add_sign_off(use: Use, job: str) -> None:
    """Keep what the log showed when a job was signed off: the entry before this one, and its digest."""
    shown = use.rows("last_digest", stored.LastDigest)[0]
    use.insert("sign_off", id=new_id(), job=job, shown_entry=shown.entry, shown_digest=shown.digest, entry=use.entry)


def add_part(use: Use, part: Part) -> None:
    """Add a part to a job."""
    for name in ("part", "lot", "supplier"):
        check_name(getattr(part, name), name)
    use.insert(
        "part", id=new_id(), **{column.name: getattr(part, column.name) for column in fields(part)}, entry=use.entry
    )


def add_comeback(use: Use, job: str, returned: datetime, **values: object) -> None:
    """Add a comeback of a job: `complaint`, `finding`, `attributable`, `hours`."""
    use.insert("comeback", id=new_id(), job=job, returned=returned, entry=use.entry, **values)


def add_comeback_detail(use: Use, job: str, returned: datetime, name: str, value: str) -> None:
    """Say something of a return that was opened before; the latest of each name counts, '' takes it back."""
    use.insert("comeback_detail", id=new_id(), job=job, returned=returned, name=name, value=value, entry=use.entry)


def add_house_detail(use: Use, name: str, code: str, value: str) -> None:
    """Set a code or a rate of the house; the latest counts, '' takes it away."""
    use.insert("house_detail", id=new_id(), name=name, code=code, value=value, entry=use.entry)


def add_reading(use: Use, reading: NewReading) -> tuple[UUID, int]:
    """Add one reading; its id and attempt number."""
    attempt = reading.attempt
    if attempt is None:
        here = attempts_here(use, reading.job, reading.characteristic, reading.stage, reading.position)
        attempt = max((row.attempt for row in here), default=0) + 1
    values: Mapping[str, Any] = {name: getattr(reading, name) for name in reading.__slots__} | {"attempt": attempt}
    row_id = new_id()
    use.insert("reading", id=row_id, entry=use.entry, **values)
    return row_id, attempt


def attempts_here(use: Use, job: str, characteristic: str, stage: str, position: str) -> list[stored.AttemptHere]:
    """Every attempt at one place, in order."""
    return use.rows(
        "attempts_here", stored.AttemptHere, job=job, characteristic=characteristic, stage=stage, position=position
    )


def strike_out(use: Use, reading: UUID, person: str, reason: str) -> None:
    """Strike a reading out: it stays in the log and no longer counts."""
    use.insert("strike", id=new_id(), reading=reading, person=person, reason=reason, entry=use.entry)


def need(use: Use, table: str, column: str, value: str, what: str) -> None:
    """UnknownNameError, with near misses, unless `table` has `value` in `column`."""
    found = use.connection.execute(f"SELECT 1 FROM {table} WHERE {column} = ? LIMIT 1", [value]).fetchone()  # noqa: S608 - names of ours
    if found is None:
        near = use.connection.execute(
            f"SELECT DISTINCT {column} FROM {table} ORDER BY levenshtein(lower({column}), lower(?)), 1 LIMIT 5",  # noqa: S608 - names of ours
            [value],
        ).fetchall()
        names = ", ".join(str(row[0]) for row in near)
        hint = f"the nearest in the log: {names}" if names else f"the log has no {what} yet"
        raise UnknownNameError(f"the log has no {what} {value!r}", field=what, found=value, hint=hint)
