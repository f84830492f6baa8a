"""People, gauges and comebacks: added and listed."""

from __future__ import annotations

from datetime import datetime

from qclog.domain import stored
from qclog.domain.jobs import ATTRIBUTABLE, GAUGE_EVENTS, GAUGE_KINDS, ROLES, Gauge, Person
from qclog.domain.moments import now
from qclog.domain.quantities import units
from qclog.domain.rights import Act
from qclog.domain.sheets.sheet_numbers import NOT_PLAUSIBLE, number_of
from qclog.errors import InputError
from qclog.services.keeping import rights
from qclog.store import records
from qclog.store.log import Log, Submission


def choose(value: str, choices: tuple[str, ...], field: str) -> str:
    """`value` if it is one of `choices`; else InputError naming them."""
    if value not in choices:
        raise InputError(f"{field} must be one of {', '.join(choices)}", field=field, found=value)
    return value


def list_people(log: Log) -> list[stored.PersonNow]:
    """Everyone the log knows, as they stand now."""
    with log.reading() as use:
        return use.rows("people_now", stored.PersonNow)


def add_person(log: Log, person: Person, submission: Submission) -> None:
    """Add someone. InputError if the name is taken."""
    choose(person.role, ROLES, "role")
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.MANAGE_PEOPLE)
        if any(row.person == person.person for row in use.rows("people_now", stored.PersonNow)):
            raise InputError("the log has someone of that name", field="person", found=person.person)
        records.add_person(use, person)


def list_gauges(log: Log) -> list[stored.Gauge]:
    """Every gauge with its last check."""
    with log.reading() as use:
        return use.rows("gauges", stored.Gauge)


def add_gauge(log: Log, gauge: Gauge, submission: Submission) -> None:
    """Add a gauge. InputError if the name is taken or a value will not do."""
    choose(gauge.kind, GAUGE_KINDS, "kind")
    for field, sizes in (("step", (gauge.step,)), ("leaves", gauge.leaves)):
        for size in sizes:
            if (number_of(size) or 0.0) <= 0:
                raise InputError(f"a gauge's {field} must be a number above 0", field=field, found=size)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_GAUGES)
        if any(row.gauge == gauge.gauge for row in use.rows("gauges", stored.Gauge)):
            raise InputError("the log has a gauge of that name", field="gauge", found=gauge.gauge)
        records.add_gauge(use, gauge)


def set_tolerance(log: Log, gauge: str, tolerance: float | None, submission: Submission) -> None:
    """Set how far a check of a gauge may be off, in its own unit; None: one step again, as for every other gauge."""
    if tolerance is not None and (number_of(tolerance) or 0.0) <= 0:
        raise InputError("a tolerance must be a number above 0", field="tolerance", found=tolerance)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_GAUGES)
        records.need(use, "gauge", "gauge", gauge, "gauge")
        records.add_gauge_detail(use, gauge, "tolerance", "" if tolerance is None else repr(float(tolerance)))


def check_gauge(
    log: Log,
    gauge: str,
    event: str,
    submission: Submission,
    *,
    at: datetime | None = None,
    reference: float | None = None,
    reading: float | None = None,
    unit: str | None = None,
    by: str | None = None,
    note: str | None = None,
) -> None:
    """Record an event of a gauge: a check against a reference, a drop, a withdrawal ..."""
    choose(event, GAUGE_EVENTS, "event")
    for field, value in (("reference", reference), ("reading", reading)):
        if value is not None and number_of(value) is None:
            raise InputError(f"the {field} {NOT_PLAUSIBLE}", field=field, found=value)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.CHECK_GAUGE if event in ("check", "dropped") else Act.KEEP_GAUGES)
        records.need(use, "gauge", "gauge", gauge, "gauge")
        if by is not None:
            records.need(use, "person", "person", by, "person")
            rights.need_name(use, submission.by, by)
        records.add_gauge_check(
            use,
            gauge,
            at or now(),
            event,
            reference=reference,
            reading=reading,
            unit=None if unit is None else units.parse_unit(unit),
            person=by,
            note=note,
        )


def add_comeback(
    log: Log,
    job: str,
    returned: datetime,
    submission: Submission,
    *,
    complaint: str | None = None,
    finding: str | None = None,
    attributable: str | None = None,
    hours: float | None = None,
) -> None:
    """Record that a job came back."""
    if attributable is not None:
        choose(attributable, ATTRIBUTABLE, "attributable")
    if hours is not None and not 0 <= hours <= 1e9:
        raise InputError("hours must be 0 or more", field="hours", found=hours)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.COMEBACK)
        records.need(use, "job", "job", job, "job")
        records.add_comeback(
            use, job, returned, complaint=complaint, finding=finding, attributable=attributable, hours=hours
        )
