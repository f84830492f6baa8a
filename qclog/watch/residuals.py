"""From values to residuals that compare across case types: how many ordinary spreads from its own kind's middle.

Each series (case type, characteristic, stage, new or re-used, machined or not) has its own reference, robust to the
faults it should reveal: a winsorised mean and spread, on a scale that takes out skew. With few units the residual is
made smaller by as much as the reference is unsure (the t distribution of a new value).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from qclog.stats.charts.short_runs import normal_score_of_t
from qclog.watch.observations import Observations

Floats = np.ndarray[Any, np.dtype[np.float64]]
Integers = np.ndarray[Any, np.dtype[np.int64]]

FEWEST = 6
WINSOR = 0.10
WINSOR_AGAIN = 0.02
MERGE_AT_MOST = 0.5
SKEWED = 0.15
FEWEST_FOR_SHAPE = 40
MOST_BEND = 0.5
_SERIES = ["case_type", "characteristic", "stage", "condition", "machined"]


@dataclass(frozen=True, slots=True)
class Residuals:
    """One entry per usable row of the observations (`row` is its number there).

    `z` residuals in spreads, `series` and `characteristic` ids, `spread` of the series in its own unit,
    `matters` the smallest difference that matters, in spreads.
    """

    row: Integers
    z: Floats
    series: Integers
    spread: Floats
    matters: Floats


def standardise(observations: Observations, taken_out: Floats | None = None) -> Residuals:
    """Residuals of all rows whose series has enough units.

    `taken_out` (one per row, in the unit of the value) is what known causes add; it is subtracted before the
    references are set and stays in the residuals.
    """
    rows = observations.rows
    values = rows["value"].to_numpy()
    clean = values if taken_out is None else values - taken_out
    series = series_ids(rows, clean)
    about = rows.join(
        observations.characteristics, on=["case_type", "characteristic"], how="left", maintain_order="left"
    )
    step = about["step"].fill_null(0.0).to_numpy()
    u, u_clean, spread, n = _scaled(values, clean, series, step)
    known = np.flatnonzero(np.isfinite(u))
    aspect = rows.select(pl.struct("characteristic", "stage").rank("dense")).to_series().to_numpy()
    z = np.full(len(values), np.nan)
    for number in np.unique(aspect[known]):
        at = known[aspect[known] == number]
        z[at] = _evened(u[at], u_clean[at], series[at])
    z[known] = _as_normal(z[known] / np.sqrt(1 + 1 / n[known]), np.maximum(2.0, 0.9 * (n[known] - 1)))
    matters = about["matters"].to_numpy().astype(float) / spread
    limit = np.where(np.isfinite(matters[known]), matters[known], MERGE_AT_MOST)
    return Residuals(known, z[known], series[known], spread[known], np.clip(limit, 0.35, 0.6))


def _scaled(values: Floats, clean: Floats, series: Integers, step: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """(value less middle) over spread of each series; the same without known causes; the spread; units in it."""
    u, u_clean, spread, n = (np.full(len(values), np.nan) for _ in range(4))
    order = np.argsort(series, kind="stable")
    starts = np.flatnonzero(np.diff(series[order], prepend=-1))
    for start, end in zip(starts, [*starts[1:], len(order)], strict=True):
        at = order[start:end]
        if len(at) >= FEWEST:
            middle, wide = winsorised(clean[at])
            wide = max(wide, step[at[0]] / np.sqrt(12), 1e-12 * max(1.0, float(np.abs(clean[at]).max())))
            u[at], u_clean[at] = (values[at] - middle) / wide, (clean[at] - middle) / wide
            spread[at], n[at] = wide, len(at)
    return u, u_clean, spread, n


def _evened(u: Floats, clean: Floats, series: Integers) -> Floats:
    """Residuals on a scale on which a skewed kind of reading (run-out, flatness, torque) is even.

    The shape is taken from all series of the aspect together: log(1 + bend u) / bend with the bend that takes the
    skew of the bulk out. Each series is then set to middle 0 and spread 1 again.
    """
    if len(clean) < FEWEST_FOR_SHAPE:
        return u
    skew = _bulk_skew(clean)
    if abs(skew) < max(SKEWED, 3.5 / np.sqrt(len(clean))):
        return u
    side = 1.0 if skew > 0 else -1.0
    low, high = 0.0, MOST_BEND
    for _ in range(20):
        bend = (low + high) / 2
        if _bulk_skew(_bent(side * clean, bend)) > 0:
            low = bend
        else:
            high = bend
    y, y_clean = side * _bent(side * u, low), side * _bent(side * clean, low)
    for number in np.unique(series):
        at = series == number
        centre, wide = winsorised(y_clean[at])
        y[at] = (y[at] - centre) / max(wide, 1e-9)
    return y


def _bent(u: Floats, bend: float) -> Floats:
    """log(1 + bend u) / bend, carried on straight where the logarithm would leave the scale."""
    edge = -0.4 / bend if bend else -np.inf
    slope = bend / 0.6
    inside = np.log1p(bend * np.maximum(u, edge)) if bend else u
    straight = np.where(u < edge, (u - edge) * slope, 0.0) if bend else 0.0
    return (inside + straight) / (bend or 1.0)


def _bulk_skew(u: Floats) -> float:
    """Skew of the bulk: third moment with what lies beyond two and a half spreads drawn in."""
    middle, wide = winsorised(u)
    inside = np.clip((u - middle) / max(wide, 1e-9), -2.5, 2.5)
    return float(np.mean((inside - inside.mean()) ** 3))


def series_ids(rows: pl.DataFrame, values: Floats) -> Integers:
    """A number for each series; machined and unmachined cases are one series where they do not differ."""
    era = ["era"] if "era" in rows.columns else []
    keys = rows.select(*_SERIES[:4], *era, machined=pl.col("machined"))
    whole = keys.select(pl.struct(keys.columns[:-1]).rank("dense").cast(pl.Int64)).to_series().to_numpy() - 1
    machined = rows["machined"].to_numpy().astype(bool)
    split: Integers = np.asarray(whole * 2 + machined, dtype=np.int64)
    for number in np.unique(whole):
        at = whole == number
        if not _differ(values[at & machined], values[at & ~machined]):
            split[at] = number * 2
    return split


def _differ(one: Floats, two: Floats) -> bool:
    if len(one) < FEWEST or len(two) < FEWEST:
        return len(one) >= FEWEST and len(two) >= FEWEST
    (m1, s1), (m2, s2) = winsorised(one), winsorised(two)
    error = np.hypot(s1 / np.sqrt(len(one)), s2 / np.sqrt(len(two)))
    spread = np.sqrt((s1**2 + s2**2) / 2)
    return bool(abs(m1 - m2) > 2.6 * error and abs(m1 - m2) > 0.25 * spread)


def refer_again(z: Floats, clean: Floats, series: Integers) -> tuple[Floats, Floats]:
    """Residuals against references from `clean`, the same residuals without the effects of known causes; and for each
    the factor by which its spread has changed.

    With the causes out, only the outermost few in a hundred need drawing in.
    """
    again, factor = z.copy(), np.ones(len(z))
    order = np.argsort(series, kind="stable")
    starts = np.flatnonzero(np.diff(series[order], prepend=-1))
    for start, end in zip(starts, [*starts[1:], len(order)], strict=True):
        at = order[start:end]
        middle, wide = winsorised(clean[at], WINSOR_AGAIN)
        factor[at] = max(wide, 0.5)
        again[at] = (z[at] - middle) / factor[at]
    return again, factor


def winsorised(values: Floats, outer: float = WINSOR) -> tuple[float, float]:
    """Mean and spread with the `outer` share on each side drawn in, made right for the normal distribution."""
    ordered = np.sort(values)
    cut = int(np.floor(outer * len(ordered)))
    drawn = np.clip(ordered, ordered[cut], ordered[len(ordered) - 1 - cut])
    share = cut / len(ordered)
    return float(drawn.mean()), float(drawn.std(ddof=1)) / _shrinkage(share)


def _shrinkage(share: float) -> float:
    """Spread of a standard normal with `share` drawn in on each side."""
    if share == 0:
        return 1.0
    edge = float(special.ndtri(1 - share))
    density = np.exp(-(edge**2) / 2) / np.sqrt(2 * np.pi)
    return float(np.sqrt((1 - 2 * share) - 2 * edge * density + 2 * share * edge**2))


def _as_normal(t: Floats, freedom: Floats) -> Floats:
    """Normal residuals as unlikely as `t` is with few degrees of freedom."""
    few = freedom < 200
    result = t.copy()
    result[few] = normal_score_of_t(t[few], freedom[few])
    return result
