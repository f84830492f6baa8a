"""Everything a trace looks across: jobs, parts, comebacks, gauges and which reading was taken with which."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.domain.moments import show_moment
from qclog.services.jobs.whereabouts import jobs_out
from qclog.services.keeping import sheets
from qclog.services.tracing.gauge_trust import doubt_of
from qclog.store.log import Log


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
    def doubtful(self) -> pl.DataFrame:
        """One row per reading that counts and was taken with a gauge in doubt: job, gauge, taken_at, since."""
        pieces = []
        for gauge, row in self.gauges.items():
            events = [c for c in self.checks if c.gauge == gauge]
            if not any(e.event != "check" or e.reading is not None for e in events):
                continue
            mine = self.readings.filter(pl.col("gauge") == gauge).select("job", "gauge", "taken_at")
            # Between two events the answer is the same, so it is asked once for each such stretch.
            edges = pl.Series(sorted({e.checked_at for e in events}), dtype=pl.Datetime("us"))
            stretch = edges.search_sorted(mine["taken_at"], side="right").to_list() if len(mine) else []
            answers = {n: doubt_of(row, events, mine["taken_at"][first]) for n, first in _firsts(stretch)}
            since = [answers[n] for n in stretch]
            pieces.append(mine.with_columns(since=pl.Series(since, dtype=pl.Datetime("us"))).drop_nulls("since"))
        schema: Any = {"job": pl.String, "gauge": pl.String, "taken_at": pl.Datetime("us"), "since": pl.Datetime("us")}
        return pl.concat(pieces) if pieces else pl.DataFrame(schema=schema)

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
            comebacks=use.frame("comebacks_all"),
            readings=use.frame("readings_for_watch"),
            checks=tuple(use.rows("gauge_checks", stored.GaugeEvent)),
            gauges={row.gauge: row for row in use.rows("gauges", stored.Gauge)},
            zone=sheets.timezone_of(use),
        )
