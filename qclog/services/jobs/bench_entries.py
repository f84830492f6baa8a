"""What was typed in the reading field, taken in order: each entry for the place it was typed for, stored once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from qclog.domain import stored
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.sheets.conditions import choices_of, split_off
from qclog.errors import InputError
from qclog.services.jobs import capture
from qclog.services.jobs.capture import Circumstances, Taken
from qclog.store.log import Log, Submission

CORRECT = "correct "
MISTYPED = "mistyped"


@dataclass(frozen=True, slots=True)
class Entry:
    """One text with everything it was typed under.

    `id` becomes the submission's, so that it is stored once however often it comes. `typed_at` is UTC. `seen`: how many
    attempts the place had then (None: not looked at). `before`: the entry typed before this one, which is what
    `correct 17` corrects (None: the job's last reading).
    """

    id: UUID
    text: str
    place: Place
    person: str
    typed_at: datetime | None = None
    gauge: str | None = None
    conditions: tuple[str, ...] = ()
    seen: int | None = None
    before: UUID | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """An entry that is stored, and the conditions that were kept with it."""

    taken: Taken
    conditions: tuple[str, ...]


def is_correction(text: str) -> bool:
    """Whether a text puts the reading before it right: `correct 17`."""
    return text.strip().casefold().startswith(CORRECT)


def take_entry(log: Log, entry: Entry) -> Kept:
    """Store an entry for the place it was typed for, or put the reading before it right.

    An entry that came before is answered as it was then. Raises as `capture.take` and `capture.correct` do: LogError
    says nothing against the entry, which may be sent again.
    """
    if is_correction(entry.text):
        return Kept(_correct(log, entry), entry.conditions)
    place = _stored_as(log, entry.id) or entry.place
    said, conditions = _conditions_of(log, replace(entry, place=place))
    circumstances = Circumstances(entry.person, entry.gauge, _not_later(entry.typed_at), conditions)
    submission = Submission(entry.person, "bench", f"reading of job {place.job}", entry.id)
    return Kept(capture.take(log, place, said, circumstances, submission, seen=entry.seen), conditions)


def _stored_as(log: Log, submission: UUID) -> Place | None:
    with log.reading() as use:
        rows = use.rows("reading_of_submission", stored.ReadingOfSubmission, submission=submission)
    if not rows:
        return None
    return Place(rows[0].job, rows[0].characteristic, rows[0].stage, rows[0].position)


def _not_later(typed: datetime | None) -> datetime | None:
    """A browser's clock may be ahead of ours."""
    return None if typed is None else min(typed, now())


def _conditions_of(log: Log, entry: Entry) -> tuple[str, tuple[str, ...]]:
    """(the reading, its conditions): those said after the reading go before those that were shown."""
    with log.reading() as use:
        _, sheet = capture.job_and_sheet(use, entry.place.job, _not_later(entry.typed_at) or now())
    wanted = sheet.characteristic(entry.place.characteristic).conditions
    said, spoken = split_off(entry.text, wanted)
    kept = list(entry.conditions)
    for choices in choices_of(wanted):
        for word in set(spoken) & set(choices):
            kept = [k for k in kept if k not in choices] + [word]
    return said, tuple(kept)


def _correct(log: Log, entry: Entry) -> Taken:
    text = entry.text.strip()[len(CORRECT) :]
    circumstances = Circumstances(entry.person, taken_at=_not_later(entry.typed_at))
    submission = Submission(entry.person, "bench", f"correction in job {entry.place.job}", entry.id)
    if entry.before is None:
        return capture.correct_last(log, entry.place.job, text, MISTYPED, circumstances, submission)
    with log.reading() as use:
        rows = use.rows("reading_of_submission", stored.ReadingOfSubmission, submission=entry.before)
    if not rows:
        raise InputError(
            "what was typed before this was not stored, so there is nothing to correct",
            field="correction",
            found=entry.text.strip(),
            hint="type the reading itself at its place",
        )
    row = rows[0]
    place = Place(row.job, row.characteristic, row.stage, row.position)
    return capture.correct(log, place, row.attempt, text, MISTYPED, circumstances, submission)
