"""The log as it stood at an earlier entry or on an earlier day, asked for in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.moments import in_zone, read_moment, show_moment
from qclog.errors import InputError
from qclog.services.keeping.sheets import timezone_of
from qclog.store.as_of import BY_IMPORT, AsOf
from qclog.store.log import Log

_HINT = "give the number of an entry (`412`), a day (`2026-03-14`: to its end) or a time (`2026-03-14T16:00`)"


def as_of(log: Log, asked: str) -> Log:
    """The log as it stood at entry, day or time `asked`. InputError if it says none, or there was nothing yet."""
    with log.reading() as use:
        entries = use.rows("entries", stored.Entry)
        zone = timezone_of(use)
    text = asked.strip().lower().removeprefix("entry").strip()
    if text.isdecimal():
        number = int(text[:12])
        if not 1 <= number <= len(entries):
            has = f"it has entries 1 to {len(entries)}" if entries else "it has none yet"
            raise InputError("the log has no such entry", field="as-of", found=asked, hint=has)
        return replace(log, as_of=AsOf(number, at=entries[number - 1].entered_at))
    then = at_moment(log, _end_of(asked, zone), entries)
    if then is None:
        begins = f"its first entry is of {show_moment(entries[0].entered_at, zone)}" if entries else "it is empty"
        raise InputError("the log has nothing so early", field="as-of", found=asked, hint=begins)
    return then


def at_moment(log: Log, moment: datetime, entries: Sequence[stored.Entry] | None = None) -> Log | None:
    """The log as it stood at `moment` (UTC); None where it had nothing yet."""
    if entries is None:
        with log.reading() as use:
            entries = use.rows("entries", stored.Entry)
    number = max((e.entry for e in entries if e.entered_at <= moment), default=0)
    later = any(e.via in BY_IMPORT for e in entries[number:])
    if not number and not later:
        return None
    return replace(log, as_of=AsOf(number, moment if later else None, at=moment))


def day_of(log: Log) -> date:
    """The day, in the workshop's zone, that the log tells of: today, or the one that it is asked as of."""
    with log.reading() as use:
        return in_zone(use.moment, timezone_of(use)).date()


def as_of_words(log: Log) -> str:
    """How the log stands that is looked at, as a sentence; empty for the log as it is now."""
    asked = log.as_of
    if asked is None:
        return ""
    with log.reading() as use:
        entries = use.rows("entries", stored.Entry)
        zone = timezone_of(use)
    last = next((e for e in entries if e.entry == asked.entry), None)
    said = f"As of entry {last.entry}, {show_moment(last.entered_at, zone)} ({last.entered_by})" if last else ""
    if asked.moment is None:
        return f"{said}."
    imports = [e for e in entries if e.via in BY_IMPORT and asked.entry < e.entry <= (asked.through or e.entry)]
    named = ", ".join(f"entry {e.entry} of {show_moment(e.entered_at, zone)[:10]}" for e in imports)
    what = f"of what was imported ({named}), what had happened by {show_moment(asked.moment, zone)}"
    return (
        f"{said}; {what}, by its own times."
        if said
        else f"As of {show_moment(asked.moment, zone)}: {what}, by its own times."
    )


def _end_of(asked: str, zone: ZoneInfo) -> datetime:
    try:
        if len(asked.strip()) == 10:
            day = datetime.fromisoformat(asked.strip())
            following = datetime.combine(day.date() + timedelta(days=1), time(), zone)
            return read_moment(following.isoformat(), zone) - timedelta(microseconds=1)
        return read_moment(asked, zone)
    except (ValueError, InputError, OverflowError) as error:
        raise InputError("this is no entry and no time", field="as-of", found=asked, hint=_HINT) from error
