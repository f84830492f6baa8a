"""A reading at the bench: understood, judged, stored; corrected; struck out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from uuid import UUID

from qclog.domain import stored
from qclog.domain.jobs import STAGES
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.quantities import units
from qclog.domain.rights import Act
from qclog.domain.sheets.casetypes import Characteristic, Sheet, condition_of_parts
from qclog.domain.sheets.conditions import asked_of, contradiction, with_stated
from qclog.domain.speech import readings
from qclog.errors import InputError, ReadMeanwhileError, UnitError, UnknownNameError
from qclog.measures.judging import Verdict, judge_reading
from qclog.services.keeping import rights, sheets
from qclog.store import records
from qclog.store.log import AlreadyStored, Log, Submission, Use


@dataclass(frozen=True, slots=True)
class Taken:
    """A stored reading: what was understood, how it stands, and a question if its size is unlikely."""

    id: UUID
    place: Place
    characteristic: Characteristic
    attempt: int
    said: readings.Said
    read_back: str
    verdict: Verdict
    doubt: readings.Doubt | None
    already: bool = False


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Who read it, with what, when (UTC), under what conditions."""

    technician: str
    gauge: str | None = None
    taken_at: datetime | None = None
    conditions: tuple[str, ...] = ()
    note: str | None = None


def take(
    log: Log, place: Place, text: str, circumstances: Circumstances, submission: Submission, *, seen: int | None = None
) -> Taken:
    """Store what was said at `place`, and judge it.

    An out-of-limit or unlikely value is stored as it was said; `verdict` and `doubt` tell. Raises ReadingError for
    what can't be understood, UnitError for a unit of another dimension, UnknownNameError for a name not in the log,
    and ReadMeanwhileError if more attempts are there than the `seen` ones (None: whatever is there).
    """
    return _store(log, place, text, circumstances, submission, seen=seen)


def _store(
    log: Log,
    place: Place,
    text: str,
    circumstances: Circumstances,
    submission: Submission,
    replaces: int | None = None,
    reason: str | None = None,
    seen: int | None = None,
) -> Taken:
    try:
        with log.writing(submission) as use:
            _need_right(use, place, circumstances.technician, submission)
            if seen is not None:
                _need_no_more_than(use, place, seen)
            if replaces is not None:
                before = _need_attempt(use, place, replaces)
                _need_own(use, before, submission)
                circumstances = _as_before(circumstances, before)
            context = _context(use, place, circumstances)
            said = understand(context, text)
            new = _new(context, place, said, circumstances, replaces, reason)
            row_id, attempt = records.add_reading(use, new)
            return _taken(context, place, attempt, said, row_id)
    except AlreadyStored as stored:
        with log.reading() as use:
            context = _context(use, place, circumstances)
            here = records.attempts_here(use, place.job, place.characteristic, place.stage, place.position)
        row = next((r for r in here if r.entry == stored.entry), None)
        if row is None:
            raise InputError("this submission was used for something else", field="submission") from stored
        return _taken(context, place, row.attempt, understand(context, row.said), row.id, already=True)


def _need_no_more_than(use: Use, place: Place, seen: int) -> None:
    here = records.attempts_here(use, place.job, place.characteristic, place.stage, place.position)
    if len(here) > seen:
        last = here[-1]
        raise ReadMeanwhileError(
            f"{last.technician} just read {last.said} here",
            len(here),
            hint="press Enter to store yours as well, which then counts, or leave it",
        )


def _need_right(use: Use, place: Place, person: str, submission: Submission) -> None:
    """To log at `place` as done by `person`. What comes back is read by whoever deals with comebacks, too."""
    rights.need(use, submission.by, Act.READ_RETURN if place.stage == "return" else Act.READ)
    rights.need_name(use, submission.by, person)


def _need_own(use: Use, row: stored.AttemptHere, submission: Submission) -> None:
    """Anyone may put right what they read or entered; another's takes more."""
    if submission.by not in (row.technician, row.entered_by):
        rights.need(use, submission.by, Act.CORRECT)


def _as_before(circumstances: Circumstances, row: stored.AttemptHere) -> Circumstances:
    """A correction was read with the gauge and under the conditions of what it corrects, unless it says otherwise."""
    conditions = circumstances.conditions or tuple((row.conditions or "").split())
    return replace(circumstances, gauge=circumstances.gauge or row.gauge, conditions=conditions)


def last_reading(log: Log, job: str) -> stored.LastReading:
    """The last reading entered for the job that still counts, a row of the log. InputError if there is none."""
    with log.reading() as use:
        records.need(use, "job", "job", job, "job")
        rows = use.rows("last_reading", stored.LastReading, job=job)
    if not rows:
        raise InputError("the job has no reading to correct", field="job", found=job, hint="log one first")
    return rows[0]


def correct_last(
    log: Log, job: str, text: str, reason: str, circumstances: Circumstances, submission: Submission
) -> Taken:
    """Replace the last reading of the job, as `correct` does."""
    row = last_reading(log, job)
    place = Place(job, row.characteristic, row.stage, row.position)
    return correct(log, place, row.attempt, text, reason, circumstances, submission)


def correct(
    log: Log, place: Place, attempt: int, text: str, reason: str, circumstances: Circumstances, submission: Submission
) -> Taken:
    """Replace one attempt at `place` by what is said now. The first stays, with who, when and why.

    The gauge and the conditions stay those of the first where `circumstances` does not name others.
    """
    if not reason.strip():
        raise InputError("a correction needs a reason", field="reason", hint="for example: mistyped, wrong position")
    return _store(log, place, text, circumstances, submission, replaces=attempt, reason=reason.strip())


def strike(log: Log, place: Place, attempt: int, reason: str, person: str, submission: Submission) -> None:
    """Strike out one attempt at `place`: it stays in the log and no longer counts."""
    if not reason.strip():
        raise InputError("a strike-out needs a reason", field="reason", hint="for example: swarf under the cover")
    with log.writing(submission) as use:
        records.need(use, "person", "person", person, "person")
        row = _need_attempt(use, place, attempt)
        _need_right(use, place, person, submission)
        _need_own(use, row, submission)
        records.strike_out(use, UUID(str(row.id)), person, reason.strip())


@dataclass(frozen=True, slots=True)
class Context:
    """What judging a reading needs from the log."""

    sheet: Sheet
    characteristic: Characteristic
    condition: str | None
    leaves: tuple[Fraction, ...]
    taken_at: datetime
    conditions: tuple[str, ...]


def job_and_sheet(use: Use, job: str, moment: datetime) -> tuple[stored.Job, Sheet]:
    """A job's row and the sheet that it was measured by at `moment` (UTC). UnknownNameError if there is none."""
    rows = use.rows("job_by_id", stored.Job, job=job)
    if not rows:
        records.need(use, "job", "job", job, "job")
    return rows[0], sheets.sheet_at(use, rows[0].case_type, moment)


def _context(use: Use, place: Place, circumstances: Circumstances) -> Context:
    taken_at = circumstances.taken_at or now()
    job, sheet = job_and_sheet(use, place.job, taken_at)
    characteristic = sheet.characteristic(place.characteristic)
    check_place(characteristic, place, job.variant)
    check_conditions(characteristic, circumstances.conditions)
    records.need(use, "person", "person", circumstances.technician, "person")
    leaves: tuple[Fraction, ...] = ()
    if circumstances.gauge is not None:
        records.need(use, "gauge", "gauge", circumstances.gauge, "gauge")
        gauge = next(g for g in use.rows("gauges", stored.Gauge) if g.gauge == circumstances.gauge)
        leaves = leaves_in(gauge.leaves or "", gauge.unit, characteristic.unit)
    parts = [(p.part, p.condition) for p in use.rows("job_parts", stored.JobPart, job=place.job)]
    condition = condition_of_parts(characteristic, parts)
    conditions = with_stated(circumstances.conditions, characteristic.conditions, characteristic.states)
    return Context(sheet, characteristic, condition, leaves, taken_at, conditions)


def check_place(characteristic: Characteristic, place: Place, variant: str | None) -> None:
    """Whether the sheet has this place: InputError saying what it has instead."""
    if characteristic.derived:
        raise InputError(
            f"{characteristic.name} is worked out, not read",
            field="characteristic",
            found=characteristic.code,
            hint=f"it follows from {characteristic.formula}",
        )
    if not characteristic.applies_to(variant):
        raise InputError(
            f"{characteristic.name} is only for variant {', '.join(characteristic.variants)}",
            field="characteristic",
            found=characteristic.code,
            hint=f"this job is variant {variant}" if variant else "say the job's variant first",
        )
    allowed = (*characteristic.stages, "return")
    if place.stage not in allowed:
        raise InputError(
            f"{characteristic.name} is not measured at stage {place.stage!r}",
            field="stage",
            found=place.stage,
            hint="its stages: " + ", ".join(characteristic.stages if place.stage in STAGES else allowed),
        )
    if characteristic.positions and place.position not in characteristic.positions:
        raise InputError(
            f"{characteristic.name} is measured at positions {', '.join(characteristic.positions)}",
            field="position",
            found=place.position or "nothing",
            hint="name one of them" + (f"; {characteristic.view}" if characteristic.view else ""),
        )


def check_conditions(characteristic: Characteristic, given: tuple[str, ...]) -> None:
    """Whether every condition the sheet wants recorded is, and none contradicts another or what it states.

    `oiled|dry` wants one of the two; what the characteristic states itself need not be said.
    """
    against = contradiction(given, characteristic.conditions, characteristic.states)
    if against is not None:
        wrong, other = (word.replace("_", " ") for word in against)
        stated = against[1] in characteristic.states and against[1] not in given
        raise InputError(
            f"{characteristic.name} is read {other}, not {wrong}" if stated else f"both {other} and {wrong} can't be",
            field="conditions",
            found=" ".join(given),
            hint=f"read it {other}" if stated else "say which of the two it was",
        )
    for choices in asked_of(characteristic.conditions, characteristic.states):
        if not any(choice in given for choice in choices):
            raise InputError(
                f"{characteristic.name} needs to be recorded with {' or '.join(choices)}",
                field="conditions",
                found=" ".join(given) or "nothing",
                hint=f"add {' or '.join(choices)} to the conditions",
            )


def understand(context: Context, text: str) -> readings.Said:
    """What was said, checked to fit the characteristic."""
    characteristic = context.characteristic
    said = readings.read(text, unit=characteristic.unit, leaves=context.leaves, categories=characteristic.categories)
    check_words(characteristic, said)
    return said


def check_words(characteristic: Characteristic, said: readings.Said) -> None:
    """Whether a word was said where the sheet wants one, and a number where it wants that."""
    if said.kind == "word" and not characteristic.in_words:
        raise UnitError(f"{characteristic.name} is a number in {characteristic.unit}", field="reading", found=said.text)
    if said.kind not in ("word", "none") and characteristic.in_words:
        raise UnitError(
            f"{characteristic.name} is one of {', '.join(characteristic.words)}", field="reading", found=said.text
        )
    if said.kind == "word" and said.word not in characteristic.words:
        raise UnitError(
            f"{characteristic.name} is one of {', '.join(characteristic.words)}", field="reading", found=said.text
        )


def leaves_in(leaves: str, own: str, unit: str) -> tuple[Fraction, ...]:
    """The leaves of a feeler in `unit`; none when its unit is of another dimension."""
    if units.dimensionality(own) != units.dimensionality(unit):
        return ()
    return tuple(units.convert(Fraction(leaf), own, unit) for leaf in leaves.split())


def _number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)


def in_own_unit(said: readings.Said, characteristic: Characteristic) -> readings.Said:
    """What was said, in the characteristic's own unit."""
    return said if said.kind in ("word", "none") else readings.convert_said(said, characteristic.unit)


def _new(
    context: Context,
    place: Place,
    said: readings.Said,
    circumstances: Circumstances,
    replaces: int | None = None,
    reason: str | None = None,
) -> records.NewReading:
    own = in_own_unit(said, context.characteristic)
    return records.NewReading(
        job=place.job,
        characteristic=place.characteristic,
        stage=place.stage,
        position=place.position,
        said=said.text,
        said_unit=None if said.kind in ("word", "none") else said.unit,
        kind=said.kind,
        low=_number(own.low),
        high=_number(own.high),
        unit=context.characteristic.unit,
        word=said.word,
        technician=circumstances.technician,
        taken_at=context.taken_at,
        gauge=circumstances.gauge,
        conditions=" ".join(context.conditions) or None,
        note=circumstances.note,
        replaces=replaces,
        reason=reason,
    )


def _taken(
    context: Context, place: Place, attempt: int, said: readings.Said, row_id: UUID, *, already: bool = False
) -> Taken:
    characteristic = context.characteristic
    own = in_own_unit(said, characteristic)
    verdict = judge_reading(
        characteristic,
        stage=place.stage,
        condition=context.condition,
        low=_number(own.low),
        high=_number(own.high),
        word=said.word,
    )
    low, high = characteristic.plausible
    step = None if characteristic.step is None else Fraction(str(characteristic.step))
    bounds = (None if low is None else Fraction(str(low)), None if high is None else Fraction(str(high)))
    doubt = None
    if bounds != (None, None) and said.kind not in ("word", "none"):
        doubt = readings.doubt(said, unit=characteristic.unit, plausible=bounds, step=step)
    return Taken(row_id, place, characteristic, attempt, said, readings.read_back(said), verdict, doubt, already)


def _need_attempt(use: Use, place: Place, attempt: int) -> stored.AttemptHere:
    here = records.attempts_here(use, place.job, place.characteristic, place.stage, place.position)
    for row in here:
        if row.attempt == attempt:
            return row
    where = f"{place.characteristic} {place.stage} {place.position}".strip()
    raise UnknownNameError(
        f"job {place.job} has no attempt {attempt} at {where}",
        field="attempt",
        found=attempt,
        hint="it has " + (", ".join(str(r.attempt) for r in here) or "none"),
    )
