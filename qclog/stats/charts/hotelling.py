"""Many characteristics of a unit judged at once, and which of them drive a signal."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.domain.checking import LARGEST
from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_probability, read_values


@dataclass(frozen=True, slots=True, eq=False)
class JointBaseline:
    """Means and covariance of a baseline, the distance of each of its units, and the limits.

    `baseline_limit` is for the units the baseline was made of (beta), `later_limit` for units after (F).
    """

    n: int
    characteristics: int
    mean: Floats
    covariance: Floats
    distances: Floats
    baseline_limit: float
    later_limit: float
    false_alarm: float
    signals: tuple[int, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class JointSignal:
    """One unit's distance against a limit; `drivers` give, per characteristic, how much the distance would fall
    without it, and its own standardised deviation."""

    distance: float
    limit: float
    beyond: bool
    drivers: tuple[tuple[int, float, float], ...]


@checked
def set_joint_baseline(units: npt.ArrayLike, *, false_alarm: float = 0.0027) -> JointBaseline:
    """Learn means and covariance from a baseline and set limits for Hotelling's T squared.

    Parameters
    ----------
    units : two-dimensional, one row a unit, one column a characteristic, each column in its own unit.
    false_alarm : probability that an unchanged unit falls outside.

    Raises
    ------
    TooFewError : not at least two rows more than columns. StatisticsError : not finite numbers; a characteristic that
        does not vary or follows from the others.

    Source: Tracy, Young & Mason, Journal of Quality Technology 24 (1992): beta for the baseline, F for later units.
    """
    table = _read_table(units)
    alpha = read_probability(false_alarm, "false_alarm")
    n, p = table.shape
    if n < p + 2:
        raise TooFewError(f"{p} characteristics need {p + 2} units", field="units", found=n, hint="more units")
    rough = table.mean(axis=0)
    d = table - rough
    correction = d.mean(axis=0)
    d -= correction
    covariance = d.T @ d / (n - 1)
    sds = np.sqrt(np.diag(covariance))
    if bool((sds == 0).any()):
        raise StatisticsError(
            "a characteristic does not vary", field=f"units[{int(np.argmin(sds))}]", hint="leave it out"
        )
    if np.linalg.cond(covariance / np.outer(sds, sds)) > 1e12:
        raise StatisticsError("a characteristic follows from the others", field="units", hint="leave one of them out")
    distances = _distances(d, covariance)
    beta = (n - 1) ** 2 / n * float(special.betaincinv(p / 2, (n - p - 1) / 2, 1 - alpha))
    later = p * (n + 1) * (n - 1) / (n * (n - p)) * float(special.fdtri(p, n - p, 1 - alpha))
    notes = [f"few units ({n}) for {p} characteristics: the limits are wide"] if n < 5 * p else []
    return JointBaseline(
        n=n,
        characteristics=p,
        mean=rough + correction,
        covariance=covariance,
        distances=distances,
        baseline_limit=beta,
        later_limit=later,
        false_alarm=alpha,
        signals=tuple(np.flatnonzero(distances > beta).tolist()),
        warnings=tuple(notes),
    )


@checked
def judge_unit(baseline: JointBaseline, unit: npt.ArrayLike) -> JointSignal:
    """Judge a unit that was not in the baseline, and say which characteristics drive its distance.

    Parameters
    ----------
    unit : one-dimensional, one value for each characteristic.

    Raises
    ------
    StatisticsError : another number of characteristics, or not finite numbers.

    Source: what each characteristic adds to T squared given the rest: Runger, Alt & Montgomery 1996.
    """
    x = read_values(unit, "unit")
    if x.size != baseline.characteristics:
        raise StatisticsError(
            "another number of characteristics", field="unit", found=x.size, hint=f"give {baseline.characteristics}"
        )
    d = x - baseline.mean
    total = float(_distances(d[None, :], baseline.covariance)[0])
    drivers = []
    for j in range(x.size):
        rest = [i for i in range(x.size) if i != j]
        without = float(_distances(d[None, rest], baseline.covariance[np.ix_(rest, rest)])[0]) if rest else 0.0
        drivers.append((j, total - without, float(d[j]) / sqrt(float(baseline.covariance[j, j]))))
    drivers.sort(key=lambda v: -v[1])
    return JointSignal(total, baseline.later_limit, total > baseline.later_limit, tuple(drivers))


@checked
def group_limits(groups: int, size: int, characteristics: int, *, false_alarm: float = 0.0027) -> tuple[float, float]:
    """Limits for the T squared of group means: for the groups of the baseline, and for later ones.

    Parameters
    ----------
    groups : m, in the baseline. size : n, of each. characteristics : p.

    Raises
    ------
    TooFewError : too few groups for the characteristics.

    Source: Montgomery, Introduction to Statistical Quality Control, chapter on multivariate charts.
    """
    m, n, p = groups, size, characteristics
    alpha = read_probability(false_alarm, "false_alarm")
    freedom = m * n - m - p + 1
    if p < 1:
        raise StatisticsError("a unit has one characteristic or more", field="characteristics", found=p)
    if freedom < 1 or m < 2 or n < 2:
        raise TooFewError("too few groups for so many characteristics", field="groups", found=m)
    quantile = float(special.fdtri(p, freedom, 1 - alpha))
    return p * (m - 1) * (n - 1) / freedom * quantile, p * (m + 1) * (n - 1) / freedom * quantile


def _distances(d: Floats, covariance: Floats) -> Floats:
    sds = np.sqrt(np.diag(covariance))
    z = d / sds
    solved = np.linalg.solve(covariance / np.outer(sds, sds), z.T).T
    return np.asarray((z * solved).sum(axis=1), dtype=np.float64)


def _read_table(units: npt.ArrayLike) -> Floats:
    try:
        table = np.asarray(units, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise StatisticsError("units must be rows of numbers, all of one length", field="units") from error
    if table.ndim != 2:
        raise StatisticsError("units must be a table", field="units", found=f"{table.ndim} dimensions")
    if not bool((np.abs(table) < LARGEST).all()):
        raise StatisticsError("a reading is missing or infinite", field="units", hint="leave that unit out")
    return table
