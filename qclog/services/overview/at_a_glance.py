"""The workshop at a glance for its manager: case types, gauges, shims and how well the record is kept."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from qclog.domain.findings import CAUSES, Finding
from qclog.errors import InputError
from qclog.measures.gauge_trust import DOUBT, off_by, trust_at
from qclog.services.keeping import sheets
from qclog.services.keeping.stock import list_stock
from qclog.services.series.series import left_outside
from qclog.services.sums.forecast import forecast
from qclog.services.tracing import comeback_risk
from qclog.services.tracing.comeback_risk import Risk
from qclog.services.tracing.shop import Shop
from qclog.store.log import Log
from qclog.watch.observations import Observations

MOST_NAMED = 2


@dataclass(frozen=True, slots=True)
class TypeGlance:
    """A case type in one row: jobs of all time and of the last year, units out and how many of them left with a final
    value outside limits, what moves now, and comebacks for the time the units were out.
    """

    case_type: str
    name: str
    jobs: int
    last_year: int
    out: int
    outside: int
    moves: str
    risk: Risk


def look_at_types(log: Log, shop: Shop, standing: Sequence[Finding]) -> tuple[TypeGlance, ...]:
    """Every case type, the busiest of the last year first."""
    with log.reading() as use:
        names = {code: sheets.latest(use, code).name for code in sheets.known_case_types(use)}
        outside = {code: {job for job, _, _ in left_outside(log, code)} for code in names}
    out = comeback_risk.months_out(shop.jobs, shop.comebacks, shop.last_known)
    year = shop.jobs.filter(pl.col("opened") > shop.last_known - pl.duration(days=365))
    found = []
    for code, name in names.items():
        gone = out.filter(pl.col("case_type") == code)
        found.append(
            TypeGlance(
                code,
                name,
                len(shop.jobs.filter(pl.col("case_type") == code)),
                len(year.filter(pl.col("case_type") == code)),
                len(gone),
                len(set(gone["job"]) & outside[code]),
                _moves(code, standing),
                comeback_risk.risk_of(gone),
            )
        )
    return tuple(sorted(found, key=lambda t: (-t.last_year, t.case_type)))


def _moves(case_type: str, standing: Sequence[Finding]) -> str:
    """What stands about a case type, single odd units counted rather than named."""
    mine = [f for f in standing if case_type in f.case_types]
    said = [f"{f.cause} ({f.level})" for f in mine if not CAUSES[f.cause].alone]
    odd = sum(CAUSES[f.cause].alone for f in mine)
    said = [*said[:MOST_NAMED], *([f"{len(said) - MOST_NAMED} more"] if len(said) > MOST_NAMED else [])]
    said += [f"{odd} odd unit{'' if odd == 1 else 's'}"] if odd else []
    return "; ".join(said)


@dataclass(frozen=True, slots=True)
class GaugeGlance:
    """A gauge in one row. `off`: how much too high it read at its last check, in its unit; `since`: readings since the
    last good check or calibration (all of them if there was none), and the jobs they touch.
    """

    gauge: str
    kind: str
    unit: str
    state: str
    due: date | None
    last_good: datetime | None
    off: float | None
    since: int
    jobs: tuple[str, ...]


def look_at_gauges(shop: Shop, today: date) -> tuple[GaugeGlance, ...]:
    """Every gauge, those that ask for something first."""
    found = [_gauge(shop, name, today) for name in shop.gauges]
    return tuple(sorted(found, key=lambda g: (g.state.startswith("checked good"), g.gauge)))


def _gauge(shop: Shop, name: str, today: date) -> GaugeGlance:
    row = shop.gauges[name]
    events = [c for c in shop.checks if c.gauge == name]
    trust = trust_at(row, events, max(shop.last_known, *(e.checked_at for e in events)) if events else shop.last_known)
    last_good = None if trust.last_good is None else trust.last_good.checked_at
    checks = [e for e in events if e.reading is not None and e.reference is not None]
    mine = shop.readings.filter(pl.col("gauge") == name)
    since = mine if last_good is None else mine.filter(pl.col("taken_at") > last_good)
    state = "not known: never checked" if last_good is None else f"checked good {shop.day(last_good)}"
    if row.withdrawn:
        state = "withdrawn"
    elif trust.due is not None or (row.calibration_due is not None and row.calibration_due < today):
        state = "calibration overdue"
    elif trust.state == DOUBT:
        state = (
            f"in doubt since its good check of {shop.day(last_good)}" if last_good else "in doubt from the beginning"
        )
    return GaugeGlance(
        name,
        row.kind,
        row.unit,
        state,
        row.calibration_due,
        last_good,
        off_by(checks[-1]) if checks else None,
        len(since),
        tuple(since["job"].unique(maintain_order=True)),
    )


@dataclass(frozen=True, slots=True)
class ShimGlance:
    """A packet size: how many leaves there are, the least there should be, what the coming jobs likely need and what is
    enough for nine chances in ten (None: too few packs to say), and what to buy.
    """

    stock_set: str
    nominal: float
    unit: str
    there: int
    minimum: int | None
    likely: float | None
    enough: int | None

    @property
    def buy(self) -> int:
        """How many more it takes to be enough and not below the minimum."""
        return max(0, (self.enough or 0) - self.there, (self.minimum or 0) - self.there)


def look_at_shims(log: Log) -> tuple[ShimGlance, ...]:
    """Every packet size of every set."""
    stock = list_stock(log)
    found = []
    for name in dict.fromkeys(s.size.stock_set for s in stock):
        try:
            needs = {f.nominal: f.need for f in forecast(log, name)[0]}
        except InputError:  # too few packs to foresee from: the stock is worth showing all the same
            needs = {}
        mine = [s for s in stock if s.size.stock_set == name]
        for nominal in dict.fromkeys(s.size.nominal for s in mine):
            sizes = [s for s in mine if s.size.nominal == nominal]
            need = needs.get(nominal)
            found.append(
                ShimGlance(
                    name,
                    nominal,
                    sizes[0].size.unit,
                    sum(s.count for s in sizes),
                    sizes[0].minimum,
                    None if need is None else need.expected,
                    None if need is None else need.enough,
                )
            )
    return tuple(found)


def digit_lines(observations: Observations, preferring: Collection[str]) -> tuple[str, ...]:
    """How evenly single feeler readings fall on odd and even leaves; nobody is named or ranked."""
    ticks = observations.ticks
    if ticks.is_empty():
        return ("no single readings with a feeler that has odd and even leaves",)
    even = int(ticks["even"].sum())
    lines = [f"{even:,} of {len(ticks):,} single feeler readings are on even leaves ({100 * even / len(ticks):.0f} %)"]
    if preferring:
        lines.append("a preference is among the findings, with what to check")
    return tuple(lines)
