"""Everything on every chart at once: limits, run tests, EWMA and CUSUM for thousands of series laid end to end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.base import constants
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Bools, Floats, read_number, read_starts, read_values
from qclog.stats.charts import cusum, ewma
from qclog.stats.charts.run_tests import NELSON_1984, RunTest, choose_tests, mark

# Readings worked on at a time: few enough to stay in the processor's cache.
_BLOCK = 60_000


@dataclass(frozen=True, slots=True, eq=False)
class SeriesScan:
    """Limits of each series, and for each reading which patterns are complete there.

    `marks` holds one bit for each name in `patterns`, in that order. A series with one reading, or without
    spread, has a sigma of 0 and no marks; `enough` says which series reached `minimum`.
    """

    n: npt.NDArray[np.int64]
    centre: Floats
    sigma: Floats
    factor: float
    minimum: int
    patterns: tuple[str, ...]
    marks: npt.NDArray[np.uint16]
    starts: npt.NDArray[np.intp]

    @property
    def lower(self) -> Floats:
        """Lower limits for single readings, one for each series."""
        return self.centre - self.factor * self.sigma

    @property
    def upper(self) -> Floats:
        """Upper limits for single readings, one for each series."""
        return self.centre + self.factor * self.sigma

    @property
    def enough(self) -> Bools:
        """Whether each series has the readings wanted before limits are relied on."""
        return np.asarray(self.n >= self.minimum, dtype=np.bool_)

    def marked(self, pattern: str) -> Bools:
        """Where a pattern is complete, reading by reading.

        Raises
        ------
        StatisticsError : a pattern that was not looked for.
        """
        if pattern not in self.patterns:
            raise StatisticsError(
                "that pattern was not looked for", field="pattern", found=pattern, hint=", ".join(self.patterns)
            )
        return np.asarray((self.marks >> self.patterns.index(pattern)) & 1 == 1, dtype=np.bool_)


@checked
def scan(
    values: npt.ArrayLike,
    starts: npt.ArrayLike,
    *,
    tests: Iterable[RunTest | str] = NELSON_1984,
    factor: float = 3.0,
    minimum: int = 10,
    weight: float = 0.2,
    allowance: float = 0.5,
) -> SeriesScan:
    """Set limits from mean moving ranges and look for every pattern, in every series.

    Parameters
    ----------
    values : one-dimensional, series after series, each in time order and in its own unit.
    starts : where each series begins, rising from 0.
    tests : run tests or their names. factor, minimum : as for `limits.individuals`.
    weight : of the EWMA, allowance : of the CUSUM, both with limits that give a false alarm every 370
        readings.

    Returns
    -------
    SeriesScan : its patterns are the tests' names, then "ewma", "cusum_high" and "cusum_low".

    Raises
    ------
    StatisticsError : see `series.read_values`; starts that do not rise from 0; more than 13 tests.
    """
    array = read_values(values)
    begin = read_starts(starts, array.size)
    chosen = choose_tests(tests)
    if len(chosen) > 13:
        raise StatisticsError("too many tests at once", field="tests", found=len(chosen), hint="13 at most")
    read_number(factor, "factor", above=0)
    factor_ewma = ewma.choose_factor(weight, 370.398)
    limit = cusum.choose_limit(allowance, 370.398)
    patterns = (*(t.name for t in chosen), "ewma", "cusum_high", "cusum_low")
    sizes = np.diff(np.append(begin, array.size))
    marks = np.zeros(array.size, dtype=np.uint16)
    centre, sigma = np.zeros(begin.size), np.zeros(begin.size)
    for first, last in _blocks(begin, array.size):
        low, high = begin[first], begin[last] if last < begin.size else array.size
        here, size = begin[first:last] - low, sizes[first:last]
        block = array[low:high]
        # Deviations from the first reading of each series are small, so nothing is lost in the sums.
        origin = block[here]
        gap = block - np.repeat(origin, size)
        mean = np.add.reduceat(gap, here) / size
        step = np.abs(np.diff(gap, prepend=0.0))
        step[here] = 0.0
        spread = np.add.reduceat(step, here) / np.maximum(size - 1, 1) / constants.d2(2)
        centre[first:last], sigma[first:last] = origin + mean, spread
        with np.errstate(divide="ignore"):
            z = (gap - np.repeat(mean, size)) * np.repeat(np.where(spread > 0, 1 / spread, 0.0), size)
        found = [*mark(z, chosen, starts=here).values(), _mark_ewma(z, here, size, weight, factor_ewma)]
        found += [_accumulated(way, here, size) > limit for way in (z - allowance, -z - allowance)]
        bits = marks[low:high]
        for place, hits in enumerate(found):
            bits |= hits.astype(np.uint16) << np.uint16(place)
        flat = np.repeat(spread == 0, size)
        bits[flat] = 0
    return SeriesScan(sizes.astype(np.int64), centre, sigma, float(factor), minimum, patterns, marks, begin)


def _blocks(begin: npt.NDArray[np.intp], total: int) -> Iterator[tuple[int, int]]:
    """Runs of whole series of about one block of readings each."""
    first = 0
    while first < begin.size:
        last = int(np.searchsorted(begin, begin[first] + _BLOCK))
        last = max(first + 1, min(last, begin.size))
        yield first, last
        first = last
        if first < begin.size and begin[first] >= total:
            return


def _mark_ewma(
    z: Floats, here: npt.NDArray[np.intp], size: npt.NDArray[np.intp], weight: float, factor: float
) -> Bools:
    from scipy import signal

    ends = here + size
    averages = np.empty_like(z)
    for low, high in zip(here.tolist(), ends.tolist(), strict=True):
        averages[low:high] = signal.lfilter([weight], [1.0, weight - 1.0], z[low:high])
    width = factor * sqrt(weight / (2 - weight))
    order = np.arange(1, int(size.max()) + 1, dtype=np.float64)
    widening = width * np.sqrt(1 - (1 - weight) ** (2 * order))
    limits = np.concatenate([widening[:n] for n in size.tolist()])
    return np.asarray(np.abs(averages) > limits, dtype=np.bool_)


def _accumulated(steps: Floats, here: npt.NDArray[np.intp], size: npt.NDArray[np.intp]) -> Floats:
    """Sums that never fall below 0 and begin anew with each series.

    Each series is set so much lower than the one before that the lowest point so far starts afresh.
    """
    walk = np.cumsum(steps)
    before = np.concatenate([[0.0], walk[here[1:] - 1]])
    walk -= np.repeat(before, size)
    drop = 1 + float(np.ptp(walk))
    base = np.repeat(-drop * np.arange(here.size), size)
    walk += base
    lowest = np.minimum(np.minimum.accumulate(walk), base)
    return np.asarray(walk - lowest, dtype=np.float64)
