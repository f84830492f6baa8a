"""Whether a reading goes with comebacks: odds for each characteristic, with intervals, or that there are too few."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl

from qclog.domain.sheets.casetypes import Characteristic
from qclog.errors import StatisticsError, TooFewError
from qclog.measures.judging import NOT_JUDGED, OUT
from qclog.services.series.series import Series
from qclog.services.tracing.comeback_risk import MONTH
from qclog.stats.compare.risk_factors import relate_to_comebacks
from qclog.stats.life.rates import RateComparison, compare_shares

FEWEST_UNITS = 20
CLEAR = 0.05


@dataclass(frozen=True, slots=True)
class Going:
    """How a final reading goes with comebacks: `n` units out with the reading, `backs` of them came back.

    `odds` is what one ordinary spread less of it multiplies the odds of a comeback by, with its 95 % interval, time
    since dispatch allowed for; `p` allows for the number of characteristics looked at. None: too few to say.
    `outside` compares the shares that came back of those inside limits and those outside; None where none was outside.
    """

    characteristic: Characteristic
    n: int
    backs: int
    odds: float | None
    lower: float | None
    upper: float | None
    p: float | None
    outside: RateComparison | None = None

    @property
    def outside_text(self) -> str:
        """How many came back of those that left outside limits, and of the others; empty where none left outside."""
        if self.outside is None:
            return ""
        (inside, out), (insides, outs) = self.outside.events, self.outside.exposures
        sure = "too few to say" if self.outside.warnings else f"exact p = {self.outside.p_value:.2g}"
        return f"{out} of {outs:.0f} outside limits, {inside} of {insides:.0f} inside ({sure})"

    @property
    def clear(self) -> bool:
        """Whether luck is an unlikely explanation."""
        return self.p is not None and self.p < CLEAR

    @property
    def lower_is_worse(self) -> bool:
        """Whether it is the lower readings that go with comebacks."""
        return self.odds is None or self.odds >= 1

    @property
    def times(self) -> tuple[float, float, float] | None:
        """What one spread towards the worse side multiplies the odds by, and the ends of its interval."""
        if self.odds is None or self.lower is None or self.upper is None:
            return None
        if self.lower_is_worse:
            return self.odds, self.lower, self.upper
        return 1 / self.odds, 1 / self.upper, 1 / self.lower

    @property
    def verdict(self) -> str:
        """`goes with comebacks`, `nothing clear` or `too few to say`."""
        if self.p is None:
            return "too few to say"
        side = "lower" if self.lower_is_worse else "higher"
        return f"{side} goes with comebacks" if self.clear else "nothing clear"

    @property
    def text(self) -> str:
        """In words."""
        if self.times is None or self.p is None:
            return self.verdict
        times, low, high = self.times
        side = "lower" if self.lower_is_worse else "higher"
        told = f"one spread {side} goes with {times:.2g} times the odds (95 % interval {low:.2g} to {high:.2g}"
        return f"{'' if self.clear else 'nothing clear: '}{told}, {_chance(self.p)})"


def _chance(p: float) -> str:
    return f"p = {p:.2g}" if p >= 0.0001 else "p under 0.0001"


def relate_all(
    every: Sequence[Series],
    dispatched: pl.DataFrame,
    comebacks: pl.DataFrame,
    until: datetime,
    leaving_out: Collection[str] = (),
) -> tuple[Going, ...]:
    """For each characteristic that is not set by choice of shim: do its final readings go with comebacks?

    dispatched : jobs that left (job, dispatched). comebacks : all; those said to be not ours count as none.
    leaving_out : jobs to look without, such as those that a finding explains.

    Units with new and with re-used parts are told apart where the sheet does: the larger of the two is looked at.
    """
    ours = comebacks.filter(pl.col("attributable").fill_null("open") != "no")["job"].unique()
    out = dispatched.filter(pl.col("dispatched").is_not_null() & ~pl.col("job").is_in(list(leaving_out))).select(
        "job",
        months=(pl.lit(until, dtype=pl.Datetime("us")) - pl.col("dispatched")).dt.total_seconds() / 86_400 / MONTH,
        back=pl.col("job").is_in(ours.implode()),
    )
    found = [going for series in every if (going := _relate(series, out)) is not None]
    looked = sum(going.p is not None for going in found)
    return tuple(sorted((_adjusted(going, looked) for going in found), key=_order))


def _relate(series: Series, out: pl.DataFrame) -> Going | None:
    c = series.characteristic
    if "final" in c.forced_at:
        return None
    rows = series.rows.filter((pl.col("stage") == "final") & pl.col("value").is_not_nan()).join(out, on="job")
    if rows["condition"].n_unique() > 1:
        most = rows.group_by("condition").len().sort("len", "condition", descending=[True, False])["condition"][0]
        rows = rows.filter(pl.col("condition") == most)
    n, backs = len(rows), int(rows["back"].sum())
    outside = _outside(rows)
    unknown = Going(c, n, backs, None, None, None, None, outside)
    if n < FEWEST_UNITS:
        return unknown if n else None
    values = rows["value"].to_numpy()
    spread = float(values.std(ddof=1))
    if spread <= 0:
        return None
    try:
        model = relate_to_comebacks(
            [-values / spread, rows["months"].to_numpy()],
            rows["back"].to_numpy(),
            [c.name, "months out"],
            asked=[c.name],
        )
    except TooFewError:
        return unknown
    except StatisticsError:  # every unit left on one day, so time since dispatch says nothing
        return unknown
    ratio = model.factors[0].odds_ratio
    return Going(c, n, backs, ratio.value, ratio.lower, ratio.upper, model.factors[0].p_value, outside)


def _outside(rows: pl.DataFrame) -> RateComparison | None:
    judged = rows.filter(pl.col("verdict") != NOT_JUDGED).with_columns(out=pl.col("verdict").is_in(OUT))
    inside, outside = judged.filter(~pl.col("out")), judged.filter("out")
    if inside.is_empty() or outside.is_empty():
        return None
    backs = [int(side["back"].sum()) for side in (inside, outside)]
    return compare_shares(backs, [len(inside), len(outside)], with_ratio=False)


def _adjusted(going: Going, looked: int) -> Going:
    """Bonferroni: the chance that any of the characteristics looked at would show as much by luck."""
    if going.p is None:
        return going
    return replace(going, p=min(1.0, going.p * looked))


def _order(going: Going) -> tuple[float, str]:
    return (2.0 if going.p is None else going.p, going.characteristic.code)
