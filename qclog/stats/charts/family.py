"""Case types of one family on one chart, and a spread for a rare one borrowed from its relatives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, centre_and_deviations, read_probability, read_values, sum_of_squares
from qclog.stats.charts.limits import IndividualsLimits, individuals
from qclog.stats.charts.short_runs import warming_factor


@dataclass(frozen=True, slots=True, eq=False)
class PooledDeviations:
    """Deviations of each reading from the target or mean of its kind, and limits for them.

    `kept` are the places (from 0) the deviations belong to; readings of a kind that has neither a target
    nor a second reading are left out, which a warning says.
    """

    n: int
    deviations: Floats
    kept: tuple[int, ...]
    limits: IndividualsLimits
    equal_spread_p: float | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KindLimits:
    """One kind: its own `sd` (None for one reading), the pooled one, and limits for its next reading."""

    n: int
    mean: float
    sd: float | None
    pooled_sd: float
    freedom: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class FamilySpread:
    """What a family says about the spread of its kinds, in the unit of the readings.

    `family_sd` is worth `family_freedom` readings (infinite when the kinds differ no more than chance).
    """

    n: int
    kinds: dict[str, KindLimits]
    family_sd: float
    family_freedom: float
    false_alarm: float
    warnings: tuple[str, ...] = ()


@checked
def pool_deviations(
    values: npt.ArrayLike,
    kinds: Sequence[str],
    targets: Mapping[str, float] | None = None,
    *,
    factor: float = 3.0,
    minimum: int = 10,
) -> PooledDeviations:
    """Put readings of several kinds on one chart as deviations.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    kinds : one label for each reading.
    targets : by kind, same unit; a kind without one is taken from its own mean, its deviations widened by
        sqrt(n/(n-1)) since they were measured from their own middle.
    factor, minimum : as for `limits.individuals`.

    Raises
    ------
    StatisticsError : unequal lengths; see `series.read_values`. TooFewError : fewer than 2 usable readings.
    """
    from scipy import stats

    array = read_values(values)
    if len(kinds) != array.size:
        raise StatisticsError(
            "kinds and values differ in length", field="kinds", found=len(kinds), hint=f"give {array.size}"
        )
    labels = np.asarray([str(k) for k in kinds])
    deviations = np.full(array.size, np.nan)
    notes, pieces = [], []
    for kind in dict.fromkeys(labels.tolist()):
        at = np.flatnonzero(labels == kind)
        if targets is not None and kind in targets:
            deviations[at] = array[at] - targets[kind]
        elif at.size > 1:
            deviations[at] = centre_and_deviations(array[at])[1] * warming_factor(int(at.size))
        else:
            notes.append(f"{kind} left out: one reading and no target")
            continue
        if at.size > 2:
            pieces.append(deviations[at])
    kept = np.flatnonzero(~np.isnan(deviations))
    if kept.size < 2:
        raise TooFewError("too few readings with a target", field="values", found=int(kept.size))
    p = None
    if len(pieces) > 1 and any(np.ptp(piece) > 0 for piece in pieces):
        with np.errstate(divide="ignore", invalid="ignore"):
            p = float(stats.levene(*pieces, center="median").pvalue)
        if p < 0.01:
            notes.append("the kinds differ in spread, so one pair of limits does not suit them all")
    limits = individuals(deviations[kept], factor=factor, minimum=minimum)
    return PooledDeviations(
        int(kept.size), deviations[kept], tuple(kept.tolist()), limits, p, (*notes, *limits.warnings)
    )


@checked
def pool_spread(groups: Mapping[str, npt.ArrayLike], *, false_alarm: float = 0.0027) -> FamilySpread:
    """Give each kind of a family a spread between its own and the family's, and limits for its next reading.

    Parameters
    ----------
    groups : readings by kind, any one unit; a kind with one reading leans on the family alone.
    false_alarm : probability that the next reading of an unchanged kind falls outside its limits.

    Returns
    -------
    FamilySpread : each variance is (d0 s0^2 + d s^2) / (d0 + d), with d0 and s0 by maximum likelihood from
        the spread of the spreads; limits are mean +/- t(d0 + d) sd sqrt(1 + 1/n).

    Raises
    ------
    TooFewError : no kind with two readings. StatisticsError : see `series.read_values`.

    Source: scaled inverse chi-square prior for variances, as in Smyth 2004 (Statistical Applications in
    Genetics and Molecular Biology 3(1), article 3); here fitted by likelihood, with a mild prior on d0.
    """
    alpha = read_probability(false_alarm, "false_alarm")
    arrays = {str(k): read_values(v, f"groups[{k}]") for k, v in groups.items()}
    freedom = np.array([a.size - 1.0 for a in arrays.values()])
    squares = np.array([sum_of_squares(a) for a in arrays.values()])
    informed = freedom > 0
    if not informed.any():
        raise TooFewError("no kind has two readings", field="groups", found=len(arrays))
    notes = []
    prior_sd, prior_freedom = _fit_prior(freedom[informed], squares[informed])
    lonely = int(informed.sum()) == 1
    if int(informed.sum()) < 4:
        notes.append("few kinds to learn from: how much they differ in spread is hardly known")
    if prior_sd == 0:
        notes.append("no spread in any kind, so the limits have no width")
    kinds = {}
    for (kind, array), d, ss in zip(arrays.items(), freedom.tolist(), squares.tolist(), strict=True):
        # One kind alone has no relatives: its own readings must not count twice.
        total = d if lonely and d else prior_freedom + d
        own = ss / total if np.isfinite(total) else 0.0
        lent = 1.0 if np.isinf(total) else (total - d) / total
        sd = sqrt(prior_sd**2 * lent + own)
        t = -float(special.ndtri(alpha / 2) if np.isinf(total) else special.stdtrit(total, alpha / 2))
        n = int(array.size)
        mean = centre_and_deviations(array)[0]
        half = t * sd * sqrt(1 + 1 / n)
        kinds[kind] = KindLimits(n, mean, sqrt(ss / d) if d else None, sd, total, mean - half, mean + half)
    return FamilySpread(int(sum(k.n for k in kinds.values())), kinds, prior_sd, prior_freedom, alpha, tuple(notes))


def _fit_prior(freedom: Floats, squares: Floats) -> tuple[float, float]:
    """Prior spread and its degrees of freedom, by likelihood: s^2/s0^2 is F with (d, d0)."""
    from scipy import optimize

    pooled = float(squares.sum() / freedom.sum())
    if pooled == 0 or freedom.size < 2:
        # Nothing tells kinds apart: the one spread is known as well as its readings allow.
        return sqrt(pooled), float(freedom.sum()) if freedom.size < 2 else inf
    ratio = squares / pooled
    half = freedom / 2

    def loss(at: Floats) -> float:
        scale, d0 = exp(min(50.0, float(at[0]))), exp(min(50.0, float(at[1])))
        inner = half * np.log(scale * d0) + (half + d0 / 2) * np.log1p(ratio / (scale * d0))
        # A few kinds can't show that all share one spread exactly, so endless d0 is made unlikely beforehand:
        # its odds are even above and below 10.
        return float(np.sum(inner + special.betaln(half, d0 / 2))) + 2 * log(d0 + 10) - log(d0)

    starts = [np.array([0.0, log(d)]) for d in (1.0, 3.0, 10.0, 30.0)]
    options = {"xatol": 1e-5, "fatol": 1e-9}
    best = optimize.minimize(loss, min(starts, key=loss), method="Nelder-Mead", options=options)
    d0 = exp(float(best.x[1]))
    if d0 > 1e4:
        return sqrt(pooled), inf
    return sqrt(pooled * exp(float(best.x[0]))), d0
