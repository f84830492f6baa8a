"""How often a kind of unit comes back, for the time it has been out, with an exact interval."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from qclog.stats.life.rates import RateComparison, compare_rates, estimate_rate
from qclog.words.numbers import plural

MONTH = 30.4375
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Risk:
    """Comebacks of some units: how many are out, unit-months in service, those that came back (`back`), and of them
    `comebacks` that were not said to be not ours; rate and exact interval per 100 unit-months (None: no time out yet).
    """

    out: int
    months: float
    back: int
    comebacks: int
    rate: float | None
    lower: float | None
    upper: float | None

    @property
    def interval_text(self) -> str:
        """`0.81 to 4.2`, `under 5.1` where none came back, `no time in service yet`."""
        if self.lower is None or self.upper is None:
            return "no time in service yet"
        return f"under {self.upper:.2g}" if not self.comebacks else f"{self.lower:.2g} to {self.upper:.2g}"

    @property
    def text(self) -> str:
        """In words, with n, all that came back and how many of them may be ours."""
        came = f"{plural(self.back, 'unit')} of {self.out} came back"
        if self.back:
            came += ", none of them to be counted as ours" if not self.comebacks else ""
            came += f", {self.comebacks} of them ours or undecided" if 0 < self.comebacks < self.back else ""
        if self.rate is None:
            return f"{came}: {self.interval_text}"
        rate = f"{self.rate:.2g} in 100 unit-months (95 % interval {self.interval_text})"
        return f"{came}, {self.months:.0f} unit-months: {rate}"


def months_out(jobs: pl.DataFrame, comebacks: pl.DataFrame, until: datetime) -> pl.DataFrame:
    """One row per job dispatched by `until` (UTC): job, case_type, months from dispatch to its first comeback by then
    or to `until`; back (0 or 1) for one not said to be not ours, any_back (0 or 1) for any.

    `until` is a stated day, so that nothing entered about later days moves what is said; time after the last moment
    the log knows of is not to be counted as trouble-free either.
    """
    by_then = comebacks.filter(pl.col("returned") <= until)
    ours = by_then.filter(pl.col("attributable").fill_null("open") != "no")
    first = ours.group_by("job").agg(returned=pl.col("returned").min())
    out = jobs.filter(pl.col("dispatched") <= until).join(first, on="job", how="left")
    end = pl.coalesce("returned", pl.lit(until, dtype=pl.Datetime("us")))
    days = (end - pl.col("dispatched")).dt.total_seconds() / 86_400
    return out.select(
        "job",
        "case_type",
        months=days.clip(lower_bound=0.0) / MONTH,
        back=pl.col("returned").is_not_null().cast(pl.Int64),
        any_back=pl.col("job").is_in(by_then["job"].unique().implode()).cast(pl.Int64),
    )


def risk_of(out: pl.DataFrame) -> Risk:
    """The comeback rate of the units in `out` (rows of `months_out`); none coming back has an upper limit too."""
    n, months, back, counted = len(out), *(out[c].sum() for c in ("months", "any_back", "back"))
    if months <= 0:
        return Risk(n, 0.0, int(back), int(counted), None, None, None)
    rate = estimate_rate(int(counted), float(months) / 100, confidence=CONFIDENCE)
    return Risk(n, float(months), int(back), int(counted), rate.value, rate.lower, rate.upper)


@dataclass(frozen=True, slots=True)
class Compared:
    """Some units against the others of their case types: `found` None where one side has no time in service.

    `looked` : how many such comparisons were made together; the interval of the ratio allows for it. `left_out` : the
    jobs under investigation, whose own comeback is no evidence that such units come back. `until` : the stated day.
    """

    found: RateComparison | None
    looked: int
    left_out: int
    until: datetime

    @property
    def more_often(self) -> bool:
        """Whether the interval settles that they come back more often."""
        return self.found is not None and self.found.ratio is not None and self.found.ratio.lower > 1

    @property
    def text(self) -> str:
        """In words: how often, the interval, and whether it settles anything."""
        without = ", the unit itself left out" if self.left_out else ""
        if self.found is None:
            return f"none like it has been out{without}: nothing to compare"
        (others, events), (months_others, months) = self.found.events, self.found.exposures
        told = (
            f"{plural(events, 'comeback')} in {months:.0f} unit-months against {others} in {months_others:.0f}"
            f" of the others to {self.until:%Y-%m-%d}{without}"
        )
        ratio = self.found.ratio
        if events + others == 0 or ratio is None:
            return f"{told}: not settled"
        high = f"{ratio.upper:.2g}" if ratio.upper < float("inf") else "any number"
        allowing = f", allowing for {self.looked} looked at" if self.looked > 1 else ""
        times = f"{ratio.value:.2g} times as often" if ratio.value < float("inf") else "only these came back"
        settled = "more often" if self.more_often else "less often" if ratio.upper < 1 else "not settled"
        return f"{told}: {times}, 95 % interval {ratio.lower:.2g} to {high}{allowing}: {settled}"


def compare(
    out: pl.DataFrame, jobs: Collection[str], until: datetime, *, looked: int = 1, without: Collection[str] = ()
) -> Compared:
    """The comeback rate of `jobs` against the others in `out` (rows of `months_out` to `until`).

    looked : how many comparisons are made together (Bonferroni's allowance, 1936: the interval of each is that much
    wider). without : jobs that are looked into, left out of both sides.
    """
    kin = out.filter(~pl.col("job").is_in(list(without)))
    own = kin["job"].is_in(list(jobs))
    exposures = [float(kin.filter(~own)["months"].sum()), float(kin.filter(own)["months"].sum())]
    left_out = len(set(without) & set(jobs))
    if min(exposures) <= 0:
        return Compared(None, looked, left_out, until)
    events = [int(kin.filter(~own)["back"].sum()), int(kin.filter(own)["back"].sum())]
    found = compare_rates(events, exposures, confidence=1 - (1 - CONFIDENCE) / max(1, looked))
    return Compared(found, looked, left_out, until)
