"""A unit as it left: its story as the log stood at its dispatch; what was entered since stands apart."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.domain.places import Place
from qclog.services.jobs import jobs
from qclog.services.jobs.jobs import Story, StoryReading
from qclog.services.jobs.remarks import became_of
from qclog.store.as_of import BY_IMPORT, AsOf
from qclog.store.log import Log
from qclog.words.sentences import place_text, reading_text


@dataclass(frozen=True, slots=True)
class Later:
    """One thing that was entered after a unit had left."""

    entered_at: datetime
    by: str
    says: str


@dataclass(frozen=True, slots=True)
class AsLeft:
    """`story` and `log` as of entry `entry`, at which the unit was said to have left; `later`, oldest first.

    `by_own_times`: it came in by an import, so that what it was by then is told by the rows' own times.
    """

    story: Story
    log: Log
    entry: int
    later: tuple[Later, ...]
    by_own_times: bool

    def later_text(self, one: Later) -> str:
        """One of `later` with who and when."""
        return f"entered {show_moment(one.entered_at, self.story.zone)} by {one.by}: {one.says}"


def as_left(log: Log, story: Story) -> AsLeft | None:
    """The unit as it left; None while it is here. The first entry that said so counts, not a later one."""
    said = _dispatch_of(story)
    if said is None or story.job.dispatched is None:
        return None
    with log.reading() as use:
        (entry,) = use.rows("entry_by_number", stored.EntryByNumber, entry=said.entry)
    imported = entry.via in BY_IMPORT
    dispatched = datetime.fromisoformat(said.value)
    at = dispatched if imported else entry.entered_at
    asked = AsOf(said.entry - 1, dispatched, said.entry, at) if imported else AsOf(said.entry, at=at)
    then = replace(log, as_of=asked)
    left = jobs.tell(then, story.job.job)
    return AsLeft(left, then, said.entry, tuple(_later(story, left, said.entry)), imported)


def _dispatch_of(story: Story) -> stored.JobDetail | None:
    """What said first that it left, since it was last taken back."""
    found = None
    for detail in story.details:
        if detail.name == "dispatched":
            found = None if not detail.value else found or detail
    return found


def _later(now: Story, left: Story, entry: int) -> list[Later]:
    then = {t.row.id: t for t in left.readings}
    found = []
    for told in now.readings:
        before = then.get(told.row.id)
        if before is None and told.row.stage != "return" and told.row.entry > entry:
            found.append(Later(told.row.entered_at, told.row.entered_by, _reading(told)))
        elif before is not None and told.row.struck_why and not before.row.struck_why:
            found.append(
                Later(told.row.entered_at, told.row.struck_by or "", f"{_reading(told)}, {became_of(told, now)}")
            )
    known = {(d.name, d.value, d.entry) for d in left.details}
    for detail in now.details:
        if (detail.name, detail.value, detail.entry) not in known and detail.entry > entry:
            value = detail.value or "taken back"
            why = f" ({detail.reason})" if detail.reason else ""
            says = f"{detail.name.replace('_', ' ')}: {value}{why}"
            found.append(Later(detail.entered_at, detail.entered_by, says))
    parts = list(left.parts)
    for part in now.parts:
        if part in parts:
            parts.remove(part)
        else:
            says = f"part {part.part.replace('_', ' ')}{f', lot {part.lot}' if part.lot else ''}"
            found.append(Later(part.entered_at, part.entered_by, says))
    return sorted(found, key=lambda one: one.entered_at)


def _reading(told: StoryReading) -> str:
    row, characteristic = told.row, told.characteristic
    place = Place(row.job, row.characteristic, row.stage, row.position)
    name = place_text(place, characteristic) if characteristic else row.characteristic
    corrects = f", correcting attempt {row.replaces} ({row.reason})" if row.replaces is not None else ""
    return f"{name}: {reading_text(row)}{corrects}"
