"""Does a person prefer certain last digits? Judged against what the leaf set or the step allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_number, read_probability, read_trials, read_values
from qclog.stats.compare.exact_tests import binomial_p
from qclog.stats.rounded.interval_fit import fit_normal

_SEED = 20_240_303


@dataclass(frozen=True, slots=True)
class DigitTest:
    """Counts of each last digit (or remainder) against those expected of a careful reader with the same leaves."""

    n: int
    digits: tuple[int, ...]
    observed: tuple[int, ...]
    expected: tuple[float, ...]
    statistic: float
    p_value: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShareTest:
    """An exact two-sided test of a share, for example of even last digits."""

    n: int
    count: int
    share: float
    expected_share: float
    p_value: float
    warnings: tuple[str, ...] = ()


@checked
def judge_digits(
    values: npt.ArrayLike,
    *,
    step: float,
    leaves: npt.ArrayLike | None = None,
    modulus: int = 10,
    trials: int = 20_000,
) -> DigitTest:
    """Test last digits against a smooth spread read with the leaves there are.

    Parameters
    ----------
    values : one-dimensional, any unit: what was read (the largest leaf that goes, or a rounded reading).
    step : what one unit of the last digit is, same unit.
    leaves : the sizes that can be read, when not every multiple of the step is there; a reading then means from
        that leaf up to the next. Readings that are no leaf (stacks) must be left out.
    modulus : 10 for last digits, 2 for odd and even, 5 for fives.
    trials : seeded samples behind the p-value.

    Returns
    -------
    DigitTest : digits the leaves can't give have expectation 0 and take no part.

    Raises
    ------
    TooFewError : fewer than 5, or only one digit possible. StatisticsError : see `series.read_values`; a reading
        that is no leaf.

    Source: Pearson's chi-square with its distribution simulated; the null from a normal fitted on the brackets.
    """
    array = read_values(values, minimum=5)
    step = read_number(step, "step", above=0)
    ticks = np.round(array / step).astype(np.int64)
    if leaves is None:
        reach = 6 * (int(np.ptp(ticks)) // 4 + modulus)
        sizes = np.arange(ticks.min() - reach, ticks.max() + reach + 1)
        cuts = sizes - 0.5
    else:
        sizes = np.unique(np.round(read_values(leaves, "leaves", minimum=2) / step).astype(np.int64))
        cuts = sizes.astype(np.float64)
        strange = ~np.isin(ticks, sizes)
        if strange.any():
            raise StatisticsError(
                "a reading is none of the leaves",
                field="values",
                found=float(array[strange][0]),
                hint="leave stacked readings out, or complete the leaf set",
            )
    cuts = np.append(cuts, 2 * cuts[-1] - cuts[-2])
    chances = _expected_chances(ticks, sizes, cuts)
    remainders = sizes % modulus
    digits = np.unique(remainders)
    if digits.size < 2:
        raise TooFewError("the leaves allow one digit only", field="leaves", found=int(digits.size))
    shares = np.array([chances[remainders == d].sum() for d in digits])
    observed = np.array([int((ticks % modulus == d).sum()) for d in digits])
    n = int(ticks.size)
    shares = np.maximum(shares, 1e-12) / np.maximum(shares, 1e-12).sum()
    statistic = float(((observed - n * shares) ** 2 / (n * shares)).sum())
    trials = read_trials(trials)
    samples = np.random.default_rng(_SEED).multinomial(n, shares, size=trials)
    larger = ((samples - n * shares) ** 2 / (n * shares)).sum(axis=1) >= statistic - 1e-9
    p = (1 + int(larger.sum())) / (1 + trials)
    if p < 50 / trials:
        # Too rare to count by simulation; chi-square is good enough far out.
        p = min(p, max(float(special.chdtrc(digits.size - 1, statistic)), 1e-300))
    notes = []
    if n < 3 * digits.size:
        notes.append(f"few readings for {digits.size} digits: only a strong preference shows")
    return DigitTest(
        n,
        tuple(digits.tolist()),
        tuple(observed.tolist()),
        tuple((n * shares).tolist()),
        statistic,
        p,
        tuple(notes),
    )


@checked
def judge_share(count: int, n: int, *, expected_share: float = 0.5) -> ShareTest:
    """Exact two-sided binomial test of a count.

    Parameters
    ----------
    count : of `n` that have the property. expected_share : from the leaf set (5 of 9 leaves even: 0.556).

    Raises
    ------
    StatisticsError : a count outside 0 to n; a share outside 0 to 1.
    """
    share = read_probability(expected_share, "expected_share")
    if n < 1 or not 0 <= count <= n:
        raise StatisticsError("the count lies outside 0 to n", field="count", found=f"{count} of {n}")
    p = binomial_p(count, n, share)
    notes = ("too few to say",) if min(share**n, (1 - share) ** n) > 0.05 else ()
    return ShareTest(n, count, count / n, share, p, notes)


def _expected_chances(ticks: npt.NDArray[np.int64], sizes: npt.NDArray[np.int64], cuts: Floats) -> Floats:
    """Chance of each readable size under a smooth spread, from a normal fitted to the brackets."""
    at = np.searchsorted(sizes, ticks)
    fit = fit_normal(cuts[at], cuts[at + 1], intervals=False)
    # A preference narrows or widens the fit a little; a least spread keeps neighbouring sizes in play.
    sd = max(fit.sd.value, float(np.diff(cuts).min()))
    chances = np.diff(special.ndtr((cuts - fit.mean.value) / sd))
    return np.asarray(chances / chances.sum(), dtype=np.float64)
