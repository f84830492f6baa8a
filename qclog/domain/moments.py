"""Times: read as ISO 8601, kept in UTC, shown in the log's own zone."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from qclog.errors import InputError


def now() -> datetime:
    """The time now, UTC without a zone, as the log keeps it."""
    return datetime.now(UTC).replace(tzinfo=None)


def read_moment(text: str, zone: ZoneInfo) -> datetime:
    """The time that `text` says, in UTC without a zone; a time without an offset is in `zone`.

    InputError unless it is ISO 8601 with a year from 1900 to 2200.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=zone)
        if not 1900 <= moment.year <= 2200:
            raise ValueError
        return moment.astimezone(UTC).replace(tzinfo=None)
    except (ValueError, OverflowError) as error:
        raise InputError(
            "this is not a time", found=text, hint="write it as 2026-03-14 or 2026-03-14T09:30 (ISO 8601)"
        ) from error


def in_zone(moment: datetime, zone: ZoneInfo) -> datetime:
    """A time of the log (UTC without a zone) in `zone`."""
    return moment.replace(tzinfo=UTC).astimezone(zone)


def show_moment(moment: datetime | None, zone: ZoneInfo, *, seconds: bool = False) -> str:
    """A time of the log for a person, in `zone`."""
    if moment is None:
        return ""
    return in_zone(moment, zone).strftime("%Y-%m-%d %H:%M:%S" if seconds else "%Y-%m-%d %H:%M")


def write_moment(moment: datetime | None, zone: ZoneInfo) -> str:
    """A time of the log as ISO 8601 with its offset in `zone`."""
    return "" if moment is None else in_zone(moment, zone).isoformat()
