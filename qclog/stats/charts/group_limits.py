"""Limits for groups of readings: mean with range or standard deviation, and the three-way chart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from qclog.stats.base import constants
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, centre_and_deviations, read_groups, read_number, standard_deviation
from qclog.stats.charts.limits import IndividualsLimits, individuals


@dataclass(frozen=True, slots=True)
class GroupLimits:
    """Limits for the means of groups and for the spread inside them, in the unit of the readings.

    One entry for each group in `sizes`, `means`, `spreads` and the four limits, since groups may differ in
    size. `sigma` is the spread inside a group, `n` the number of groups, `method` "range" or "standard
    deviation".
    """

    n: int
    method: str
    factor: float
    centre: float
    sigma: float
    sizes: tuple[int, ...]
    means: tuple[float, ...]
    spreads: tuple[float, ...]
    mean_spread: float
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    spread_lower: tuple[float, ...]
    spread_upper: tuple[float, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BetweenWithinLimits:
    """The three-way chart: unit means as single readings, their moving range, and the spread inside a unit.

    `sigma_between`, `sigma_within` and `sigma_total` are in the unit of the readings; `n` counts units.
    """

    n: int
    means: IndividualsLimits
    within: GroupLimits
    sigma_between: float
    sigma_within: float
    sigma_total: float
    warnings: tuple[str, ...] = ()


@checked
def mean_and_range(groups: Sequence[npt.ArrayLike], *, factor: float = 3.0, minimum: int = 20) -> GroupLimits:
    """Limits for group means and ranges.

    Parameters
    ----------
    groups : two or more series of two or more readings, in time order, any unit; sizes may differ.
    factor : half-width in standard deviations of what is plotted.
    minimum : below this many groups the result warns.

    Raises
    ------
    TooFewError : fewer than 2 groups, or fewer than 2 in one. StatisticsError : see `series.read_values`.

    Source: ISO 7870-2. With unequal sizes each range/d2 is weighted by (d2/d3) squared, its precision.
    """
    arrays = read_groups(groups, minimum_groups=1, minimum_each=2)
    return _limits(arrays, "range", factor, minimum)


@checked
def mean_and_sd(groups: Sequence[npt.ArrayLike], *, factor: float = 3.0, minimum: int = 20) -> GroupLimits:
    """Limits for group means and standard deviations (n - 1); see `mean_and_range`.

    Raises
    ------
    TooFewError : fewer than 2 groups, or fewer than 2 in one. StatisticsError : see `series.read_values`.

    Source: ISO 7870-2. With unequal sizes each s/c4 is weighted by c4^2/(1 - c4^2), its precision.
    """
    arrays = read_groups(groups, minimum_groups=1, minimum_each=2)
    return _limits(arrays, "standard deviation", factor, minimum)


@checked
def between_within(
    units: Sequence[npt.ArrayLike], *, use_range: bool = False, factor: float = 3.0, minimum: int = 10
) -> BetweenWithinLimits:
    """Limits where each unit is read at several positions and units differ more than positions do.

    Parameters
    ----------
    units : two or more, in time order, each with two or more positions, any unit.
    use_range : chart the range inside a unit, else its standard deviation.
    factor, minimum : as for `limits.individuals`.

    Returns
    -------
    BetweenWithinLimits : sigma_between^2 = (mean moving range / d2)^2 - sigma_within^2 / positions, or 0 if
        that is negative, which is then said.

    Raises
    ------
    TooFewError : fewer than 2 units or positions. StatisticsError : see `series.read_values`.
    """
    arrays = read_groups(units, "units", minimum_each=2)
    within = _limits(arrays, "range" if use_range else "standard deviation", factor, minimum)
    means = individuals(within.means, factor=factor, minimum=minimum)
    positions = 1 / float(np.mean([1 / s for s in within.sizes]))
    between_squared = means.sigma**2 - within.sigma**2 / positions
    notes = list(means.warnings)
    if between_squared < 0:
        notes.append("units differ no more than positions inside a unit explain, so the spread between is 0")
    between = sqrt(max(0.0, between_squared))
    return BetweenWithinLimits(
        n=len(arrays),
        means=means,
        within=within,
        sigma_between=between,
        sigma_within=within.sigma,
        sigma_total=sqrt(between**2 + within.sigma**2),
        warnings=tuple(notes),
    )


def _limits(arrays: tuple[Floats, ...], method: str, factor: float, minimum: int) -> GroupLimits:
    read_number(factor, "factor", above=0)
    sizes = np.array([a.size for a in arrays])
    means = np.array([centre_and_deviations(a)[0] for a in arrays])
    ratio: Callable[[int], float]
    if method == "range":
        spreads = np.array([float(np.ptp(a)) for a in arrays])
        ratio, limits = constants.d2, constants.range_limits
        weights = np.array([(constants.d2(n) / constants.d3(n)) ** 2 for n in sizes])
    else:
        spreads = np.array([standard_deviation(a) for a in arrays])
        ratio, limits = constants.c4, constants.sd_limits
        weights = np.array([constants.c4(n) ** 2 / (1 - constants.c4(n) ** 2) for n in sizes])
    expected = np.array([ratio(n) for n in sizes])
    sigma = float(np.sum(weights * spreads / expected) / np.sum(weights))
    rough = float(means[0])
    centre = rough + float(np.sum(sizes * (means - rough)) / np.sum(sizes))
    half = factor * sigma / np.sqrt(sizes)
    edges = np.array([limits(n, factor) for n in sizes]) * (sigma * expected)[:, None]
    notes = []
    if len(arrays) < minimum:
        notes.append(f"too few to set limits: {len(arrays)} groups of {minimum}")
    if sigma == 0:
        notes.append("no spread inside any group, so the limits have no width")
    return GroupLimits(
        n=len(arrays),
        method=method,
        factor=factor,
        centre=centre,
        sigma=sigma,
        sizes=tuple(int(s) for s in sizes),
        means=tuple(means.tolist()),
        spreads=tuple(spreads.tolist()),
        mean_spread=float(spreads.mean()),
        lower=tuple((centre - half).tolist()),
        upper=tuple((centre + half).tolist()),
        spread_lower=tuple(edges[:, 0].tolist()),
        spread_upper=tuple(edges[:, 1].tolist()),
        warnings=tuple(notes),
    )
