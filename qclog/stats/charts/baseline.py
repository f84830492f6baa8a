"""Limits in force and how they came to be: a person re-bases them, with a reason; the old are kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import read_values
from qclog.stats.charts.limits import Average, IndividualsLimits, individuals


@dataclass(frozen=True, slots=True)
class Baseline:
    """Limits from the readings at places `first` up to but not including `last`, in force from `since`."""

    limits: IndividualsLimits
    first: int
    last: int
    since: datetime
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class BaselineHistory:
    """Every baseline a series has had, oldest first; nothing is ever taken out."""

    entries: tuple[Baseline, ...]

    @property
    def current(self) -> Baseline:
        """The baseline in force last."""
        return self.entries[-1]

    def at(self, when: datetime) -> Baseline:
        """The baseline in force at a moment; the first one for anything earlier."""
        earlier = [e for e in self.entries if e.since <= when]
        return earlier[-1] if earlier else self.entries[0]


@checked
def set_baseline(
    values: npt.ArrayLike,
    *,
    since: datetime,
    by: str,
    reason: str,
    first: int = 0,
    last: int | None = None,
    history: BaselineHistory | None = None,
    moving_range: Average = "mean",
    factor: float = 3.0,
    minimum: int = 10,
) -> BaselineHistory:
    """Set limits from a stretch of a series and put them at the end of its history.

    Parameters
    ----------
    values : the whole series in time order, any unit.
    since : from when they hold. by : who decided. reason : why, in words.
    first, last : the stretch, counted from 0, `last` not included; the whole series by default.
    history : what held before, if anything.
    moving_range, factor, minimum : as for `limits.individuals`.

    Raises
    ------
    StatisticsError : no name or reason, a stretch outside the series, or a date before the last entry.
    TooFewError : fewer than 2 readings in the stretch.
    """
    array = read_values(values)
    end = array.size if last is None else last
    for field, text in (("by", by), ("reason", reason)):
        if not text.strip():
            raise StatisticsError(f"{field} is empty", field=field, hint="say who re-based the limits, and why")
    if not 0 <= first < end <= array.size:
        raise StatisticsError(
            "the stretch lies outside the series",
            field="first, last",
            found=f"{first} to {end}",
            hint=f"there are {array.size} readings",
        )
    if history is not None and since < history.current.since:
        raise StatisticsError(
            "a new baseline can't begin before the last one",
            field="since",
            found=since.isoformat(),
            hint=f"the last one began {history.current.since.isoformat()}",
        )
    limits = individuals(array[first:end], moving_range=moving_range, factor=factor, minimum=minimum)
    entry = Baseline(limits, first, end, since, by.strip(), reason.strip())
    return BaselineHistory((*(history.entries if history else ()), entry))
