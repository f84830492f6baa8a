"""Findings as JSON for other programs, and as a short list a manager reads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from qclog.domain.findings import CAUSES, Finding, Note
from qclog.domain.moments import show_moment, write_moment
from qclog.services.watch.finding_life import Followed


def as_json(findings: Iterable[Finding], zone: ZoneInfo) -> list[dict[str, Any]]:
    """One object for each finding, in the form other programs rely on."""
    return [
        {
            "id": f.id,
            "cause": f.cause,
            "identifier": f.identifier,
            "level": f.level,
            "case_types": list(f.case_types),
            "characteristics": list(f.characteristics),
            "jobs": list(f.jobs),
            "direction": f.direction,
            "size_sd": f.size_sd,
            "size": f.size,
            "unit": f.unit,
            "strength": f.strength,
            "first_job": f.first_job,
            "last_job": f.last_job,
            "found_at_job": f.found_at_job,
            "found_at": write_moment(f.found_at, zone),
            "found_at_is": f.raised,
            "last_seen": None if f.last_seen is None else write_moment(f.last_seen, zone),
            "over": f.over,
            "stands": f.stands,
            "effects": [e._asdict() for e in f.effects],
            "confounded_with": [{"identifier": i, "level": n} for i, n in f.confounded_with],
            "text": f.text,
        }
        for f in findings
    ]


def tell(finding: Finding, out: set[str], zone: ZoneInfo) -> list[str]:
    """A finding in a few lines: what, since when, which units are `out` (see `whereabouts.jobs_out`), what to check."""
    gone = [job for job in finding.jobs if job in out]
    here = [job for job in finding.jobs if job not in out]
    lines = [finding.text]
    lines.append(f"{when_text(finding, zone)}; chance of such a finding by luck {strength_text(finding)}")
    left = f"{len(gone)} {'has' if len(gone) == 1 else 'have'} left"
    lines.append(left + (f"; still here: {_few(here)}" if here else ", none is still here"))
    lines.append(f"check next: {CAUSES[finding.cause].check_next}")
    return lines


def when_text(finding: Finding, zone: ZoneInfo) -> str:
    """Since when, until when, whether it goes on, and since when it was plain."""
    about = "about " if finding.raised == "guessed" else ""
    last = f"last seen on job {finding.last_job}"
    if finding.last_seen is not None:
        last += f" ({show_moment(finding.last_seen, zone)[:10]})"
    plain = f"plain from {about}job {finding.found_at_job} on ({show_moment(finding.found_at, zone)[:10]})"
    if CAUSES[finding.cause].alone:
        read = f"read on job {finding.last_job} ({show_moment(finding.last_seen or finding.found_at, zone)[:10]})"
        return read if finding.found_at_job == finding.last_job else f"{read}, {plain}"
    on = "over: sound units have followed" if finding.over else "not known to be over"
    return f"since job {finding.first_job}, {plain}; {last}, {on}"


def strength_text(finding: Finding) -> str:
    """The strength in words a person reads: `under 1 in 1,000`, `1 in 5`."""
    if finding.strength < 0.001:
        return "under 1 in 1,000"
    return f"about 1 in {max(1, round(1 / finding.strength)):,}"


def tell_state(followed: Followed, zone: ZoneInfo) -> list[str]:
    """What was last said of a finding, and whether it has come back since; nothing where nobody said anything."""
    lines = []
    if followed.notes:
        lines.append(note_text(followed.notes[-1], zone))
    if followed.returned:
        n = len(followed.returned)
        lines.append(
            f"it was closed and has opened again: {n} unit{'' if n == 1 else 's'} since then"
            f" show{'s' if n == 1 else ''} the same: {_few(list(followed.returned))}"
        )
    if followed.finding is None:
        lines.append("the readings no longer show it")
    return lines


def tell_history(followed: Followed, zone: ZoneInfo) -> list[str]:
    """Everything that was said of a finding, the oldest first, and how it stands."""
    lines = [note_text(note, zone) for note in followed.notes] or ["nobody has said anything of it yet"]
    return [*lines, *tell_state(followed, zone)[1 if followed.notes else 0 :]]


def note_text(note: Note, zone: ZoneInfo) -> str:
    """`closed by Heron on 2026-03-14 09:30: found worn pad; done replaced`."""
    said = [f"found: {note.found}" if note.found else "", f"done: {note.done}" if note.done else ""]
    told = "; ".join(s for s in said if s)
    return f"{note.state}, says {note.person}, {show_moment(note.noted_at, zone)}" + (f"; {told}" if told else "")


def said_of(followed: Followed) -> str:
    """The finding's sentence, or what it was when someone last spoke of it."""
    if followed.finding is not None:
        return followed.finding.text
    return next((note.told for note in reversed(followed.notes) if note.told), followed.id)


def count_settled(settled: Sequence[Followed]) -> str:
    """`3 closed or rejected`, with those explained and those no longer seen."""
    counts: dict[str, int] = {}
    for followed in settled:
        word = followed.state if followed.state in ("explained", "closed", "rejected") else "no longer seen"
        counts[word] = counts.get(word, 0) + 1
    return ", ".join(f"{n} {word}" for word, n in counts.items())


def _few(jobs: list[str]) -> str:
    return ", ".join(jobs[:8]) + (f" and {len(jobs) - 8} more" if len(jobs) > 8 else "")
