"""How many leaves the coming jobs are likely to need, from what past jobs took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qclog.bench.gate import checked
from qclog.errors import InputError

FEWEST_JOBS = 5


@dataclass(frozen=True, slots=True)
class Need:
    """Leaves of one size: expected, the count that is enough at the wanted sureness, and the chance that `there` is."""

    expected: float
    enough: int
    chance_enough: float
    sure: float


@checked
def need_of(past: Sequence[tuple[Sequence[int], int]], *, there: int, sure: float = 0.9) -> Need:
    """Leaves needed by coming jobs drawn at random from past ones.

    Parameters
    ----------
    past : for each kind of job, leaves of this size that each past job took, and how many such jobs are coming.
    there : how many there are now. sure : the chance that `enough` is enough.

    Raises
    ------
    InputError : fewer than 5 past jobs of a kind, a count below 0, or sure outside 0 to 1.
    """
    if not 0 < sure < 1:
        raise InputError("a chance lies between 0 and 1", field="sure", found=sure)
    chances: npt.NDArray[np.float64] = np.ones(1)
    expected = 0.0
    for taken, jobs in past:
        if len(taken) < FEWEST_JOBS:
            raise InputError(f"a forecast needs {FEWEST_JOBS} past jobs or more", field="jobs", found=len(taken))
        if jobs < 0 or min(taken) < 0:
            raise InputError("counts are 0 or more", field="jobs", found=min(jobs, *taken))
        one = _shares(taken)
        expected += jobs * float(one @ np.arange(len(one)))
        for _ in range(jobs):
            chances = np.convolve(chances, one)
    total = np.minimum(1.0, np.cumsum(chances))
    enough = int(np.searchsorted(total, sure - 1e-12))
    return Need(expected, enough, float(total[min(there, len(total) - 1)]) if there >= 0 else 0.0, sure)


def _shares(taken: Sequence[int]) -> npt.NDArray[np.float64]:
    counts = Counter(taken)
    return np.array([counts[n] for n in range(max(taken) + 1)], dtype=float) / len(taken)
