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
from qclog.stats.spread.lent_spread import lend_spread
from qclog.stats.spread.tails import fit_tail, normal_scores
from qclog.watch.observations import Observations

Floats = np.ndarray[Any, np.dtype[np.float64]]
Integers = np.ndarray[Any, np.dtype[np.int64]]

FEWEST = 6
WINSOR = 0.10
WINSOR_AGAIN = 0.02
MERGE_AT_MOST = 0.5
SKEWED = 0.15
FEWEST_FOR_SHAPE = 40
LENT_AT_LEAST = 2.0  # units: a series without kin still has no spread of next to nothing
MOST_BEND = 0.5
FEWEST_TO_WANDER, WANDERS = 40, 0.88  # units; share of the spread below which the rest of it is a slow change
LEAST_AFTER_BENDING = 0.4  # of the spread before: where nearly all read the same, bending tells nothing of it
_SERIES = ["case_type", "characteristic", "stage", "condition", "machined"]


@dataclass(frozen=True, slots=True)
class Residuals:
    """One entry per usable row of the observations (`row` is its number there).

    `u` residuals in spreads of their series, on a scale on which their kind is even and no heavier in the tails than
    the normal; `z` the same, made smaller by as much as the reference is unsure; `far` the plain distance from the
    middle, in spreads that are never finer than the step of reading; `series` ids, `wide` the spread of the series in
    its own unit, `spread` the same as `far` counts it, `matters` the smallest difference that matters, in spreads.
    `lent` and `lent_freedom`: the variance that other series of the kind lend to this one, in its spreads, and what it
    is worth in units; `least`: the least variance that readings in such steps can be said to have.
    """

    row: Integers
    u: Floats
    z: Floats
    far: Floats
    series: Integers
    wide: Floats
    spread: Floats
    matters: Floats
    lent: Floats
    lent_freedom: Floats
    least: Floats


@dataclass(frozen=True, slots=True)
class _Scale:
    """Of each row: the middle and spread of its series (NaN: too few), its units; what is lent to it; its step."""

    middle: Floats
    wide: Floats
    n: Floats
    lent: Floats
    lent_freedom: Floats
    step: Floats


def standardise(
    observations: Observations, scatter: Floats | None = None, known_causes: Floats | None = None
) -> Residuals:
    """Residuals of all rows whose series has enough units.

    `scatter` (one per row) is how many times as far as ordinary readings these are known to scatter, `known_causes`
    what known causes add to each, in the unit of the value: it takes no part in middles, spreads and shapes, and is
    in the residuals again.
    """
    rows = observations.rows
    added = np.zeros(len(rows)) if known_causes is None else known_causes
    values = rows["value"].to_numpy() - added
    series = series_ids(rows, values)
    about = rows.join(
        observations.characteristics, on=["case_type", "characteristic"], how="left", maintain_order="left"
    )
    kind = about.select(pl.struct("characteristic", "stage", "unit").rank("dense")).to_series().to_numpy()
    outer = WINSOR if known_causes is None else WINSOR_AGAIN
    scale = _scaled(values, series, kind, about["step"].to_numpy().astype(float), outer)
    known = np.flatnonzero(np.isfinite(scale.wide))
    plain = (values - scale.middle) / scale.wide
    if scatter is not None:
        plain /= scatter
    u = np.full(len(values), np.nan)
    freedom = np.maximum(2.0, 0.9 * (scale.n - 1) + scale.lent_freedom)
    steps = scale.step / scale.wide
    order = known[np.argsort(kind[known], kind="stable")]
    kinds = np.split(order, np.flatnonzero(np.diff(kind[order])) + 1) if len(order) else []
    for at in kinds:
        u[at] = _evened(plain[at], series[at])
    sure = _as_normal(u / np.sqrt(1 + 1 / scale.n), freedom)
    for side in (1.0, -1.0):
        everything = known[side * u[known] > 0]
        kin = fit_tail(sure[everything], np.minimum(steps[everything], 2.0))
        for of_kind in kinds:
            at = of_kind[side * u[of_kind] > 0]
            tail = fit_tail(sure[at], np.minimum(steps[at], 2.0), kin=kin)
            if np.isfinite(tail.freedom):
                u[at] = side * normal_scores(np.abs(u[at]), tail)
    u += added / scale.wide
    shown = np.maximum(scale.wide, scale.step)
    z = _as_normal(u[known] / np.sqrt(1 + 1 / scale.n[known]), freedom[known])
    matters = about["matters"].to_numpy().astype(float) / scale.wide
    limit = np.where(np.isfinite(matters[known]), matters[known], MERGE_AT_MOST)
    return Residuals(
        known,
        u[known],
        z,
        ((values + added - scale.middle) / shown)[known],
        series[known],
        scale.wide[known],
        shown[known],
        np.clip(limit, 0.35, 0.6),
        scale.lent[known],
        scale.lent_freedom[known],
        np.minimum(1.0, (scale.step / 2 / scale.wide)[known] ** 2),
    )


def _scaled(values: Floats, series: Integers, kind: Integers, step: Floats, outer: float) -> _Scale:
    """The scale of each row. A spread leans on those of the same kind, and is never less than half a step."""
    order = np.argsort(series, kind="stable")
    starts = np.flatnonzero(np.diff(series[order], prepend=-1))
    parts = [order[start:end] for start, end in zip(starts, [*starts[1:], len(order)], strict=True)]
    parts = [at for at in parts if len(at) >= FEWEST]
    own = np.array([winsorised(values[at], outer) for at in parts]).reshape(-1, 2)
    n = np.array([len(at) for at in parts], dtype=float)
    steps = np.array([_step_of(values[at], float(step[at[0]])) for at in parts])
    tiny = np.array([1e-12 * max(1.0, float(np.abs(values[at]).max())) for at in parts])
    soon = np.array([_from_one_to_the_next(values[at]) for at in parts])
    wide = np.where(soon < WANDERS * own[:, 1], soon, own[:, 1])
    wide = np.maximum(wide, np.maximum(steps / 2, tiny))
    freedom = np.maximum(1.0, 0.9 * (n - 1))
    lent, lent_freedom = np.ones(len(parts)), np.full(len(parts), LENT_AT_LEAST)
    kinds = np.array([kind[at[0]] for at in parts])
    for number in np.unique(kinds):
        mine = kinds == number
        common = lend_spread(wide[mine], freedom[mine])
        if common.freedom:
            drawn = np.maximum(common.lend(wide[mine], freedom[mine]), steps[mine] / 2)
            wide[mine], lent_freedom[mine] = drawn, common.freedom
            lent[mine] = (common.sd / drawn) ** 2
    result = _Scale(*(np.full(len(values), np.nan) for _ in range(6)))
    for at, *of_series in zip(parts, own[:, 0], wide, n, lent, lent_freedom, steps, strict=True):
        for column, value in zip(
            (result.middle, result.wide, result.n, result.lent, result.lent_freedom, result.step),
            of_series,
            strict=True,
        ):
            column[at] = value
    return result


def _from_one_to_the_next(values: Floats) -> float:
    """The spread from each unit to the next, which a slow change leaves alone; infinite for few."""
    if len(values) < FEWEST_TO_WANDER:
        return float("inf")
    return float(winsorised(np.diff(values))[1] / np.sqrt(2))


def _step_of(values: Floats, step: float) -> float:
    """The step of reading: the sheet's or, where that gives none, the least difference of values that repeat."""
    if np.isfinite(step) and step > 0:
        return step
    distinct = np.unique(values.round(9))
    if len(distinct) < 2 or len(distinct) > len(values) / 2:
        return 0.0
    return float(np.diff(distinct).min())


def _evened(u: Floats, series: Integers) -> Floats:
    """Residuals on a scale on which a skewed kind of reading (run-out, flatness, torque) is even.

    The shape is taken from all series of the aspect together: log(1 + bend u) / bend with the bend that takes the
    skew of the bulk out. Each series is then set to middle 0 and spread 1 again.
    """
    if len(u) < FEWEST_FOR_SHAPE:
        return u
    skew = _bulk_skew(u)
    if abs(skew) < max(SKEWED, 3.5 / np.sqrt(len(u))):
        return u
    side = 1.0 if skew > 0 else -1.0
    low, high = 0.0, MOST_BEND
    for _ in range(20):
        bend = (low + high) / 2
        if _bulk_skew(_bent(side * u, bend)) > 0:
            low = bend
        else:
            high = bend
    y = side * _bent(side * u, low)
    for number in np.unique(series):
        at = series == number
        centre, wide = winsorised(y[at])
        y[at] = (y[at] - centre) / max(wide, LEAST_AFTER_BENDING)
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
    """Normal residuals as unlikely as `t` is with few degrees of freedom.

    Small series alone, with their unsure spreads, would otherwise pass for heavy tails.
    """
    few = freedom < 200
    result = t.copy()
    result[few] = normal_score_of_t(t[few], freedom[few])
    return result
