"""One month of the workshop in figures: what came in and left, outside limits or not, gauges, how well it was kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.domain.moments import now, show_moment
from qclog.errors import InputError
from qclog.measures.gauge_trust import DOUBT, trust_at
from qclog.services.jobs.claims import Totals, all_claims, total
from qclog.services.keeping import earlier
from qclog.services.series.series import left_outside
from qclog.services.tracing import comeback_risk
from qclog.services.tracing.comeback_risk import Risk
from qclog.services.tracing.gauge_days import reason_text
from qclog.services.tracing.shop import Shop, read_shop
from qclog.store.log import Log

LATE = timedelta(hours=24)
CHECKED_WITHIN = timedelta(days=31)
BY_HAND = ("bench", "terminal")


@dataclass(frozen=True, slots=True)
class Span:
    """A month of the workshop's own time: its name (`2026-05`), and its ends in UTC, the second not in it."""

    name: str
    since: datetime
    until: datetime


def read_span(text: str, zone: ZoneInfo) -> Span:
    """The month that `2026-05` says, in `zone`. InputError for anything else."""
    try:
        year, month = (int(part) for part in text.split("-"))
        first = date(year, month, 1)
        following = date(year + month // 12, month % 12 + 1, 1)
        if not 1900 <= year <= 2200:
            raise ValueError
    except ValueError as error:
        raise InputError("this is not a month", field="month", found=text, hint="write it as 2026-05") from error
    since, until = (
        datetime(day.year, day.month, 1, tzinfo=zone).astimezone(UTC).replace(tzinfo=None) for day in (first, following)
    )
    return Span(f"{first:%Y-%m}", since, until)


@dataclass(frozen=True, slots=True)
class TypeMonth:
    """A case type's month: units that came in and left, in the shop at its end; of those that left, how many outside
    limits, on concession, with something outstanding; and comebacks of all that are out (as of the log).
    """

    case_type: str
    came_in: int
    left: int
    here: int
    outside: int
    concessions: int
    outstanding: int
    risk: Risk


@dataclass(frozen=True, slots=True)
class GaugeMonth:
    """A gauge that asks for something, and how many readings of the month were taken with it."""

    gauge: str
    says: str
    readings: int


@dataclass(frozen=True)
class Month:
    """A month, from one read of the log."""

    log: Log
    shop: Shop
    span: Span
    readings: pl.DataFrame

    def _within(self, column: str) -> pl.DataFrame:
        return self.shop.jobs.filter(pl.col(column).is_between(self.span.since, self.span.until, closed="left"))

    @cached_property
    def came_in(self) -> pl.DataFrame:
        """Jobs opened in it."""
        return self._within("opened").sort("opened", "job")

    @cached_property
    def left(self) -> pl.DataFrame:
        """Jobs dispatched in it."""
        return self._within("dispatched").sort("dispatched", "job")

    @cached_property
    def here(self) -> pl.DataFrame:
        """Jobs in the shop at its end."""
        gone = pl.col("dispatched").is_not_null() & (pl.col("dispatched") < self.span.until)
        return self.shop.jobs.filter((pl.col("opened") < self.span.until) & ~gone)

    @cached_property
    def backs(self) -> pl.DataFrame:
        """Comebacks of it."""
        inside = pl.col("returned").is_between(self.span.since, self.span.until, closed="left")
        return self.shop.comebacks.filter(inside).sort("returned", "job")

    @cached_property
    def returns(self) -> Totals:
        """What its comebacks cost, as far as it was said."""
        inside = [c for c in all_claims(self.log) if self.span.since <= c.returned < self.span.until]
        return total(inside)

    @cached_property
    def outside(self) -> tuple[tuple[str, str, str], ...]:
        """(job, what, how) of final values that left outside limits in it."""
        found = []
        left = set(self.left["job"])
        for case_type in sorted(self.left["case_type"].unique()):
            found += [told for told in left_outside(self.log, case_type) if told[0] in left]
        return tuple(sorted(found))

    @cached_property
    def case_types(self) -> tuple[TypeMonth, ...]:
        """Every case type that had something in it, or has units out."""
        out = comeback_risk.months_out(self.shop.jobs, self.shop.comebacks, self.shop.last_known)
        outside = {job for job, _, _ in self.outside}
        return tuple(
            TypeMonth(
                case_type,
                _count(self.came_in, case_type),
                _count(self.left, case_type),
                _count(self.here, case_type),
                sum(self.shop.by_job[job].case_type == case_type for job in outside),
                _count(self.left.filter(pl.col("concession").is_not_null()), case_type),
                _count(self.left.filter(pl.col("outstanding").is_not_null()), case_type),
                comeback_risk.risk_of(out.filter(pl.col("case_type") == case_type)),
            )
            for case_type in sorted(self.shop.jobs["case_type"].unique())
        )

    @cached_property
    def by_dispatch(self) -> tuple[tuple[str, int, int], ...]:
        """(month, left, of those came back by now and ours or open) of the twelve months up to this one."""
        ours = self.shop.comebacks.filter(pl.col("attributable").fill_null("open") != "no")["job"].unique()
        zone = str(self.shop.zone)
        gone = self.shop.jobs.filter(pl.col("dispatched") < self.span.until).with_columns(
            month=pl.col("dispatched").dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.strftime("%Y-%m"),
            back=pl.col("job").is_in(ours.implode()),
        )
        rows = gone.group_by("month").agg(pl.len(), pl.col("back").sum()).sort("month").tail(12)
        return tuple((month, int(left), int(back)) for month, left, back in rows.rows())

    @cached_property
    def gauges(self) -> tuple[GaugeMonth, ...]:
        """Gauges that were in doubt, out of use, overdue or not checked at its end, the doubtful first."""
        counts = {r["gauge"]: r["len"] for r in self.readings.group_by("gauge").len().iter_rows(named=True)}
        found = []
        for gauge, row in self.shop.gauges.items():
            events = [c for c in self.shop.checks if c.gauge == gauge and c.checked_at < self.span.until]
            said = self._said_of(row, events)
            if said and (events or counts.get(gauge)):
                found.append(GaugeMonth(gauge, "; ".join(said), counts.get(gauge, 0)))
        return tuple(sorted(found, key=lambda g: (-g.readings, g.gauge)))

    def _said_of(self, gauge: stored.Gauge, events: Sequence[stored.GaugeEvent]) -> list[str]:
        zone, end = self.shop.zone, self.span.until - timedelta(microseconds=1)
        said = []
        trust = trust_at(gauge, events, end)
        if trust.state == DOUBT:
            said.append(f"in doubt at the end of the month: {reason_text(trust, zone)}")
        mine = self.shop.doubtful.filter(
            (pl.col("gauge") == gauge.gauge)
            & pl.col("taken_at").is_between(self.span.since, self.span.until, closed="left")
        )
        if len(mine):
            said.append(f"{len(mine)} readings of {mine['job'].n_unique()} jobs in doubt")
        checks = [e.checked_at for e in events if e.event in ("check", "calibrated")]
        if not checks:
            said.append("never checked")
        elif max(checks) < min(end, self.shop.last_known) - CHECKED_WITHIN:
            said.append(f"not checked since {show_moment(max(checks), zone)[:10]}")
        return said

    @cached_property
    def quality(self) -> tuple[tuple[str, str], ...]:
        """How well the month was kept, in (what, count) pairs; nobody is ranked."""
        readings = self.readings
        by_hand = readings.filter(pl.col("via").is_in(list(BY_HAND)))
        late = by_hand.filter(pl.col("entered_at") - pl.col("taken_at") > LATE)
        no_gauge = readings.filter(pl.col("gauge").is_null() & pl.col("kind").is_in(["point", "bracket"]))
        timed = f"of {len(by_hand):,} entered by hand" if len(by_hand) else "none was entered by hand"
        return (
            ("readings taken", f"{len(readings):,}"),
            ("corrected", f"{int(readings['corrects'].sum()):,}"),
            ("struck out", f"{int(readings['struck'].sum()):,}"),
            ("not accessible or not taken, with a reason", f"{len(readings.filter(pl.col('kind') == 'none')):,}"),
            ("numbers without a gauge", f"{len(no_gauge):,}"),
            ("entered more than a day after they were taken", f"{len(late):,} ({timed})"),
        )


def _count(jobs: pl.DataFrame, case_type: str) -> int:
    return len(jobs.filter(pl.col("case_type") == case_type))


def look_at(log: Log, text: str | None = None) -> Month:
    """A month of the log: `2026-05`, or None for the last in which anything happened (this one, where nothing has).

    InputError for another text.
    """
    shop = read_shop(log)
    last = shop.last_known if shop.jobs.height else now()
    span = read_span(text or show_moment(last, shop.zone)[:7], shop.zone)
    with log.reading() as use:
        readings = use.frame("readings_between", since=span.since, until=span.until)
    return Month(log, shop, span, readings)


def look_back_at(log: Log, text: str | None = None) -> tuple[Month, Month]:
    """A month as the log stood at its end, and the same month as the log knows it now. InputError for another text."""
    now_known = look_at(log, text)
    then = log if log.as_of is not None else earlier.at_moment(log, now_known.span.until - timedelta(microseconds=1))
    if then is None or then == log:
        return now_known, now_known
    return look_at(then, now_known.span.name), now_known
