"""Rows as the log gives them, with what a test does not care for filled in."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from qclog.domain import stored

AT = datetime(2026, 1, 1)


def gauge(**given: Any) -> stored.Gauge:
    """A feeler in thou, not withdrawn."""
    row = stored.Gauge("FG-1", "feeler", "thou", 0.5, None, None, None, None, None, False)
    return row._replace(**given)


def gauge_event(event: str, checked_at: datetime, **given: Any) -> stored.GaugeEvent:
    """Something that happened to FG-1."""
    return stored.GaugeEvent("FG-1", checked_at, event, None, None, None, "Ash", None, 1)._replace(**given)


def job(number: str, **given: Any) -> stored.Job:
    """A job of case type MR-1, not dispatched."""
    row = stored.Job(number, "MR-1", None, None, None, None, None, AT, None, None, None, None, 1)
    return row._replace(**given)


def reading(job: str, characteristic: str, **given: Any) -> stored.JobReading:
    """A final point reading that counts."""
    row = stored.JobReading(
        id=UUID(int=0),
        job=job,
        characteristic=characteristic,
        stage="final",
        position="",
        attempt=1,
        said="",
        said_unit=None,
        kind="point",
        low=None,
        high=None,
        unit="thou",
        word=None,
        gauge="FG-1",
        technician="Ash",
        taken_at=AT,
        conditions=None,
        note=None,
        replaces=None,
        reason=None,
        entry=1,
        struck_why=None,
        struck_by=None,
        replaced=False,
        corrected_again=False,
        entered_at=AT,
        entered_by="Ash",
        via="bench",
        counts=True,
    )
    return row._replace(**given)
