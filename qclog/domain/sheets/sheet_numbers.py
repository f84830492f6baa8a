"""Which numbers a sheet may give: finite ones that a bench could measure."""

from __future__ import annotations

LARGEST = 1e9  # no bench measures more in any unit, and the doubles of the log still tell steps apart there
NOT_PLAUSIBLE = "is no plausible number: give a finite one of at most 1,000,000,000, or leave it out for none"


def number_of(value: object) -> float | None:
    """`value` as a finite number no larger than `LARGEST` either way; None if it is no such number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if -LARGEST <= value <= LARGEST else None


def show(value: object) -> str:
    """`value` as it is told to a person, cut to 80 letters."""
    try:
        return str(value)[:80]
    except ValueError:  # Python writes no more than 4,300 digits
        return "a number of thousands of digits"
