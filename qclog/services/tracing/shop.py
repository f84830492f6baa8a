"""Everything a trace looks across: jobs, parts, comebacks, gauges and which reading was taken with which."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.measures.gauge_trust import DOUBT, trust_at
from qclog.services.jobs.whereabouts import jobs_out
from qclog.services.keeping import sheets
from qclog.store.log import Log

_ANSWER: dict[str, pl.DataType | type[pl.DataType]] = {
    "state": pl.String,
    "since": pl.Datetime("us"),
    "until": pl.Datetime("us"),
}
_TRUSTED: dict[str, pl.DataType | type[pl.DataType]] = {
    "job": pl.String,
    "gauge": pl.String,
    "taken_at": pl.Datetime("us"),
    **_ANSWER,
}


@dataclass(frozen=True)
class Shop:
    """The log as it stands, from one read of it. `readings` has those that count; times in UTC."""

    jobs: pl.DataFrame
    parts: pl.DataFrame
    comebacks: pl.DataFrame
    readings: pl.DataFrame
    checks: tuple[stored.GaugeEvent, ...]
    gauges: dict[str, stored.Gauge]
    zone: ZoneInfo

    @cached_property
    def by_job(self) -> dict[str, stored.Job]:
        """The row of each job."""
        return {row.job: row for row in map(stored.Job._make, self.jobs.iter_rows())}

    @cached_property
    def backs(self) -> dict[str, list[stored.Comeback]]:
        """The comebacks of each job, the oldest first."""
        found: dict[str, list[stored.Comeback]] = {}
        for row in map(stored.Comeback._make, self.comebacks.sort("returned").iter_rows()):
            found.setdefault(row.job, []).append(row)
        return found

    @cached_property
    def last_known(self) -> datetime:
        """The last moment the log knows of: time after it is not counted as trouble-free."""
        columns = (self.readings["taken_at"], self.jobs["dispatched"], self.jobs["opened"], self.comebacks["returned"])
        moments = [moment for column in columns if (moment := column.max()) is not None]
        return max(moments, default=datetime(1970, 1, 1))  # type: ignore[return-value] # columns of times

    @cached_property
    def counted_to(self) -> datetime:
        """The day that evidence counts time in service to: that of the last return the log knows, so that nothing else
        that is entered moves it; the last moment known where nothing ever came back.
        """
        last: datetime | None = self.comebacks["returned"].max()  # type: ignore[assignment] # a column of times
        return self.last_known if last is None else last

    def events_of(self, gauge: str) -> tuple[stored.GaugeEvent, ...]:
        """What happened to a gauge, the oldest first."""
        return tuple(event for event in self.checks if event.gauge == gauge)

    @cached_property
    def trusted(self) -> pl.DataFrame:
        """One row per reading that counts and names a gauge of the log: job, gauge, taken_at, state of the gauge then,
        and since, until: the good checks that it rests on, or that a doubt reaches to (null: no end).
        """
        pieces = [self._trusted_with(gauge, row) for gauge, row in self.gauges.items()]
        return pl.concat(pieces) if pieces else pl.DataFrame(schema=_TRUSTED)

    def _trusted_with(self, gauge: str, row: stored.Gauge) -> pl.DataFrame:
        events = self.events_of(gauge)
        own = self.readings.filter(pl.col("gauge") == gauge).select("job", "gauge", "taken_at")
        edges = {event.checked_at for event in events}
        if row.calibration_due is not None:
            edges.add(datetime.combine(row.calibration_due + timedelta(days=1), time()))
        # Between two events the answer is the same, so it is asked once for each such stretch.
        ordered = pl.Series(sorted(edges), dtype=pl.Datetime("us"))
        stretch = ordered.search_sorted(own["taken_at"], side="right").to_list() if len(own) else []
        answers = {n: trust_at(row, events, own["taken_at"][first]) for n, first in _firsts(stretch)}
        found = [(answers[n].state, answers[n].since, answers[n].until) for n in stretch]
        return own.hstack(pl.DataFrame(found, schema=_ANSWER, orient="row"))

    @cached_property
    def doubtful(self) -> pl.DataFrame:
        """The rows of `trusted` whose gauge was in doubt."""
        return self.trusted.filter(pl.col("state") == DOUBT)

    def lots_of(self, job: str) -> list[str]:
        """The lots of a job's parts."""
        mine = self.parts.filter(pl.col("job") == job)["lot"].drop_nulls()
        return [str(lot) for lot in mine.unique(maintain_order=True)]

    def visits_of(self, job: str) -> list[stored.Job]:
        """Every job of the same case, in time order; only itself where no serial is known."""
        row = self.by_job[job]
        if not row.case_serial:
            return [row]
        return self._cases[row.case_type, row.case_serial]

    @cached_property
    def _cases(self) -> dict[tuple[str, str], list[stored.Job]]:
        """The visits of each case that has a serial, in time order."""
        found: dict[tuple[str, str], list[stored.Job]] = {}
        for row in sorted(self.by_job.values(), key=lambda row: (row.opened, row.job)):
            if row.case_serial:
                found.setdefault((row.case_type, row.case_serial), []).append(row)
        return found

    def day(self, moment: datetime | None) -> str:
        """The date of a moment in the workshop's time; empty for none."""
        return show_moment(moment, self.zone)[:10]

    def where_now(self, job: str) -> str:
        """Where a unit is now, in words: in the shop, left, came back, here again as another job."""
        row = self.by_job[job]
        said = [f"left {self.day(row.dispatched)}"] if row.dispatched else ["in the shop"]
        said = [f"came back {self.day(b.returned)}" for b in self.backs.get(job, [])[-1:]] or said
        later = [v for v in self.visits_of(job) if v.opened > row.opened]
        if later:
            last = later[-1]
            again = f"left again {self.day(last.dispatched)}" if last.dispatched else "in the shop again"
            said.append(f"{again} as job {last.job}")
            said += [f"came back {self.day(b.returned)}" for b in self.backs.get(last.job, [])[-1:]]
        return ", ".join(said)

    def is_here(self, job: str) -> bool:
        """Whether a unit is in the shop now, as this job or a later one."""
        return job not in self.jobs_out

    @cached_property
    def jobs_out(self) -> set[str]:
        """The jobs whose unit is not in the shop now."""
        return jobs_out(self.by_job.values())


def _firsts(numbers: list[int]) -> list[tuple[int, int]]:
    """Each different number with the place where it first stands."""
    seen: dict[int, int] = {}
    for place, number in enumerate(numbers):
        seen.setdefault(number, place)
    return list(seen.items())


def read_shop(log: Log) -> Shop:
    """Read everything a trace looks across."""
    with log.reading() as use:
        return Shop(
            jobs=use.frame("jobs_all"),
            parts=use.frame("parts_all"),
            comebacks=use.frame("comebacks_now"),
            readings=use.frame("readings_for_watch"),
            checks=tuple(use.rows("gauge_checks", stored.GaugeEvent)),
            gauges={row.gauge: row for row in use.rows("gauges", stored.Gauge)},
            zone=sheets.timezone_of(use),
        )
