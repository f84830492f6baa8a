"""How often a kind of unit comes back, for the time it has been out, with an exact interval."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from qclog.stats.life.rates import RateComparison, compare_rates, estimate_rate

MONTH = 30.4375
FEWEST_OUT = 10
FEWEST_BACK = 3


@dataclass(frozen=True, slots=True)
class Risk:
    """Comebacks of some units: how many are out, unit-months in service, comebacks that were not said to be not ours;
    rate and interval per 100 unit-months (None: too few to say).
    """

    out: int
    months: float
    comebacks: int
    rate: float | None
    lower: float | None
    upper: float | None

    @property
    def text(self) -> str:
        """In words, with n."""
        n = f"{self.comebacks} comeback{'' if self.comebacks == 1 else 's'} of {self.out} units out"
        if self.rate is None or self.lower is None or self.upper is None:
            return f"{n}: too few to say"
        return (
            f"{n}, {self.months:.0f} unit-months: {self.rate:.2g} in 100 unit-months"
            f" (95 % interval {self.lower:.2g} to {self.upper:.2g})"
        )


def months_out(jobs: pl.DataFrame, comebacks: pl.DataFrame, until: datetime) -> pl.DataFrame:
    """One row per dispatched job: job, case_type, months from dispatch to its first comeback or `until`, back (0 or 1).

    `until` is the last moment the log knows of: time after it is not counted as trouble-free.
    """
    ours = comebacks.filter(pl.col("attributable").fill_null("open") != "no")
    first = ours.group_by("job").agg(returned=pl.col("returned").min())
    out = jobs.filter(pl.col("dispatched").is_not_null()).join(first, on="job", how="left")
    end = pl.coalesce("returned", pl.lit(until, dtype=pl.Datetime("us")))
    days = (end - pl.col("dispatched")).dt.total_seconds() / 86_400
    return out.select(
        "job",
        "case_type",
        months=days.clip(lower_bound=0.0) / MONTH,
        back=pl.col("returned").is_not_null().cast(pl.Int64),
    )


def risk_of(out: pl.DataFrame) -> Risk:
    """The comeback rate of the units in `out` (rows of `months_out`)."""
    n, months, back = len(out), float(out["months"].sum()), int(out["back"].sum())
    if n < FEWEST_OUT or back < FEWEST_BACK or months <= 0:
        return Risk(n, months, back, None, None, None)
    rate = estimate_rate(back, months / 100)
    return Risk(n, months, back, rate.value, rate.lower, rate.upper)


def compare(out: pl.DataFrame, jobs: Collection[str]) -> RateComparison | None:
    """The comeback rate of some jobs against the others in `out`; None where one side has no time in service."""
    mine = out["job"].is_in(list(jobs))
    exposures = [float(out.filter(~mine)["months"].sum()), float(out.filter(mine)["months"].sum())]
    if min(exposures) <= 0:
        return None
    return compare_rates([int(out.filter(~mine)["back"].sum()), int(out.filter(mine)["back"].sum())], exposures)


def comparison_text(found: RateComparison | None) -> str:
    """What a comparison says, in words."""
    if found is None or found.warnings or sum(found.events) == 0:
        return "too few to say whether they come back more often"
    rates = [f"{100 * rate.value:.2g}" for rate in found.rates]
    told = f"{rates[1]} comebacks in 100 unit-months against {rates[0]} of the others"
    if found.p_value >= 0.05:
        return f"{told}, which luck explains as well (exact p = {found.p_value:.2g})"
    return f"{told} (exact p = {found.p_value:.2g})"
