"""What a paper was made from, each part with its digest, so that anyone can check it against the log later."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from qclog.domain import stored
from qclog.services.jobs.jobs import Story
from qclog.store.log import Log

SHORT = 16


@dataclass(frozen=True, slots=True)
class Origin:
    """Something a paper rests on: what it is, and the SHA-256 of it in hexadecimal."""

    what: str
    digest: str

    @property
    def short(self) -> str:
        """The first letters of the digest, in groups of four."""
        return " ".join(self.digest[i : i + 4] for i in range(0, SHORT, 4))


def digest_of(rows: Iterable[Mapping[str, object]]) -> str:
    """The SHA-256 of rows written as JSON with sorted names; the same rows in the same order give the same."""
    told = [{name: row[name] for name in sorted(row)} for row in rows]
    return hashlib.sha256(json.dumps(told, ensure_ascii=False, default=str).encode("utf-8")).hexdigest()


def digest_of_text(text: str) -> str:
    """The SHA-256 of a text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def origins_of(log: Log, story: Story) -> tuple[Origin, ...]:
    """What the log has of one job: itself, what was said of it, parts, readings, comebacks, sheets, gauge events."""
    job = story.job.job
    gauges = {told.row.gauge for told in story.readings if told.row.gauge}
    versions = {told.version for told in story.readings} | {story.sheet.version}
    with log.reading() as use:
        sheets = [
            r for r in use.rows("sheets_of", stored.SheetOfType, case_type=story.sheet.code) if r.version in versions
        ]
        checks = [r for r in use.rows("gauge_checks", stored.GaugeEvent) if r.gauge in gauges]
    parts: list[tuple[str, list[dict[str, object]]]] = [
        (f"what is known of job {job}", [story.job._asdict(), *(r._asdict() for r in story.details)]),
        (f"its parts ({len(story.parts)})", [r._asdict() for r in story.parts]),
        (
            f"its readings, every attempt and correction ({len(story.readings)})",
            [t.row._asdict() for t in story.readings],
        ),
        (f"its comebacks ({len(story.comebacks)})", [r._asdict() for r in story.comebacks]),
        (f"checks and events of the gauges it was read with ({len(checks)})", [r._asdict() for r in checks]),
    ]
    made = [Origin(what, digest_of(rows)) for what, rows in parts]
    return (
        *made,
        *(
            Origin(f"sheet {row.case_type}, version {row.version}, as entered", digest_of_text(row.text))
            for row in sheets
        ),
    )
