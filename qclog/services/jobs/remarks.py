"""What is remarked beside a reading: what became of it, under which conditions it was read, and limits learnt later."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.services.jobs.jobs import Story, StoryReading
from qclog.words.sentences import asked_text, fate_text, reading_text, verdict_text


def remarks_on(told: StoryReading, story: Story) -> str:
    """Everything remarked on one reading, in sentences; empty for most."""
    row = told.row
    conditions = (row.conditions or "").replace("_", " ")
    later = later_text(told, story.zone) if row.counts else ""
    return ". ".join(text for text in (became_of(told, story), conditions, row.note, later) if text)


def became_of(told: StoryReading, story: Story) -> str:
    """What became of a reading; where it was corrected, to what, by whom, when and why."""
    row = told.row
    if not row.replaced or row.struck_why:
        return fate_text(row)
    for other in story.readings:
        if other.row.replaces == row.attempt and _place(other.row) == _place(row):
            when = show_moment(other.row.entered_at, story.zone)
            return f"corrected to {reading_text(other.row)} by {other.row.entered_by} on {when}: {other.row.reason}"
    return fate_text(row)


def later_text(told: StoryReading, zone: ZoneInfo) -> str:
    """How it stands by limits that were entered after it for a time before it, and who entered them when."""
    later, characteristic = told.later, told.characteristic
    if later is None or characteristic is None:
        return ""
    stands = verdict_text(later.verdict, characteristic) or "not judged"
    limits = asked_text(characteristic, later.verdict)
    by = f" by {later.by}" if later.by else ""
    asked = f" ({limits})" if limits else ""
    return (
        f"by limits entered afterwards, on {show_moment(later.entered_at, zone)}{by}, sheet {later.version}:"
        f" {stands}{asked}"
    )


def _place(row: stored.JobReading) -> tuple[str, str, str]:
    return row.characteristic, row.stage, row.position
