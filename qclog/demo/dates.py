"""The sample workshop's calendar: 18 months of working days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

START = datetime(2025, 1, 6, tzinfo=UTC)  # a Monday
MONTH = 365.25 / 12
LAST_DAY = 543  # Friday 3 July 2026


def working_day(day: float) -> int:
    """The day itself (counted from the start), or the Friday before it."""
    whole = int(day)
    return whole - max(0, whole % 7 - 4)


def working_days_after(day: int, count: int) -> int:
    """The working day `count` working days after `day`; before it where `count` is negative."""
    step = 1 if count > 0 else -1
    for _ in range(abs(count)):
        day += step
        while day % 7 > 4:
            day += step
    return day


def month_of(day: float) -> int:
    """The month (1 to 18) that a day falls in."""
    return int(day / MONTH) + 1


def days_of_month(month: int, count: int) -> list[int]:
    """`count` working days spread over a month."""
    return [working_day(MONTH * (month - 1 + (i + 0.5) / count)) for i in range(count)]


def moment(day: int, minutes: float) -> datetime:
    """A time of day on `day`, in minutes after midnight, UTC."""
    return START + timedelta(days=day, minutes=minutes)


def write(at: datetime) -> str:
    """ISO 8601 with the offset."""
    return at.strftime("%Y-%m-%dT%H:%M:%S+00:00")


def season(day: int) -> float:
    """What the shop's temperature adds to a recess, thou: -0.3 to +0.3 over the year, -0.5 in the coldest weeks."""
    from math import cos, pi

    day_of_year = moment(day, 0).timetuple().tm_yday
    return 0.3 * cos(2 * pi * (day_of_year - 205) / 365) - (0.2 if is_cold(day) else 0.0)


def is_cold(day: int) -> bool:
    """Whether it is January or February, when the shop is cold."""
    return moment(day, 0).month <= 2
