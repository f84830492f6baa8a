"""A value and its standard uncertainty, and the law of propagation for what is worked out from several."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from math import erf, sqrt

from qclog.bench.gate import check_fields, checked
from qclog.errors import InputError


@dataclass(frozen=True, slots=True)
class Estimate:
    """`value`, and `u`, its standard uncertainty (one standard deviation), in the same unit."""

    value: float
    u: float = 0.0

    def __post_init__(self) -> None:
        check_fields(self)
        if self.u < 0:
            raise InputError("an uncertainty is 0 or more", field="u", found=self.u)


@dataclass(frozen=True, slots=True)
class Source:
    """A reading's uncertainty: what is its own, and what it shares with every reading of the same `group`.

    A gauge that reads high does so each time: that part cancels in a difference and does not average out.
    """

    value: float
    own: float
    shared: float = 0.0
    group: Hashable = None

    def __post_init__(self) -> None:
        check_fields(self)
        if min(self.own, self.shared) < 0:
            raise InputError("an uncertainty is 0 or more", field="own, shared", found=min(self.own, self.shared))


def combine(*terms: tuple[float, Estimate]) -> Estimate:
    """The sum of coefficient times independent estimate, by the law of propagation (JCGM 100:2008, 5.1.2)."""
    value = sum(factor * estimate.value for factor, estimate in terms)
    return Estimate(value, sqrt(sum((factor * estimate.u) ** 2 for factor, estimate in terms)))


@checked
def mean(values: Sequence[Estimate]) -> Estimate:
    """The mean of independent estimates. InputError if there is none."""
    if not values:
        raise InputError("a mean needs at least one value", field="values")
    return combine(*((1 / len(values), value) for value in values))


def propagate(function: Callable[[Sequence[float]], float], sources: Sequence[Source]) -> Estimate:
    """`function` of the sources' values, with the uncertainty that theirs give it to first order.

    Slopes are central differences over one standard uncertainty each way (JCGM 100:2008, 5.1.3 note 2). Own parts
    add in quadrature; shared parts of one group add with their signs first (5.2.2, correlation 1).
    """
    values = [s.value for s in sources]
    result = function(values)
    own = 0.0
    shared: dict[Hashable, float] = {}
    for i, source in enumerate(sources):
        size = sqrt(source.own**2 + source.shared**2)
        if size == 0:
            continue
        ends = [function([*values[:i], values[i] + step, *values[i + 1 :]]) for step in (size, -size)]
        slope = (ends[0] - ends[1]) / (2 * size)
        own += (slope * source.own) ** 2
        shared[source.group] = shared.get(source.group, 0.0) + slope * source.shared
    return Estimate(result, sqrt(own + sum(part**2 for part in shared.values())))


@checked
def mean_of_sources(sources: Sequence[Source]) -> Estimate:
    """The mean of readings: own parts fall with their number, what they share does not."""
    if not sources:
        raise InputError("a mean needs at least one reading", field="readings")
    return propagate(lambda values: sum(values) / len(values), sources)


@checked
def chance_between(estimate: Estimate, lower: float | None, upper: float | None) -> float:
    """The chance that the true value lies inside [lower, upper], taking the error as normal."""
    low = float("-inf") if lower is None else lower
    high = float("inf") if upper is None else upper
    if estimate.u == 0:
        return 1.0 if low <= estimate.value <= high else 0.0
    return _below((high - estimate.value) / estimate.u) - _below((low - estimate.value) / estimate.u)


def _below(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2
