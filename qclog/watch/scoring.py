"""How strongly a set of readings departs, over one or several characteristics, after allowing for the search.

For one level (a gauge, a batch ...) and one stretch of time each characteristic has a standardised sum; the strongest
k of m are taken together, and the chance of that is multiplied by the ways of choosing them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from scipy import special

Floats = np.ndarray[Any, np.dtype[np.float64]]
Integers = np.ndarray[Any, np.dtype[np.int64]]

Strength = Callable[[Integers | int, Integers | int], Floats]

MOST_TOGETHER = 12
EXACT_FOR = 200


def best_together(
    z: Floats, allowed: np.ndarray[Any, np.dtype[np.bool_]], most: int = MOST_TOGETHER
) -> tuple[Floats, Integers]:
    """For each row of `z` (candidates x characteristics): log p of its strongest characteristics together, and k.

    Of many rows only the strongest are worked out exactly; the others get log p 0.

    Only `allowed` entries may be taken; the choice among all entries of the row that have readings is paid for.
    """
    size = np.where(allowed, np.abs(z), 0.0)
    k_most = min(most, z.shape[1])
    top = -np.sort(-np.partition(size, size.shape[1] - k_most, axis=1)[:, -k_most:], axis=1)
    many = (z != 0).sum(axis=1, keepdims=True)
    k = np.arange(1, k_most + 1)[None, :]
    together = np.cumsum(top**2, axis=1)
    promising = _promising(together, k)
    log_p = np.zeros(together.shape)
    exact = chi2_log_tail(together[promising], k) + log_choose(np.maximum(many[promising], k), k)
    log_p[promising] = np.where(top[promising] > 0, exact, 0.0)
    best = np.argmin(log_p, axis=1)
    return log_p[np.arange(len(z)), best], best + 1


def _promising(together: Floats, k: Integers) -> Integers:
    """The rows that can hold the strongest departure, by a quick bound; the rest need no exact tail."""
    if len(together) <= EXACT_FOR:
        return np.arange(len(together))
    strength = (together - k * np.log(np.maximum(together, 1.0))).max(axis=1)
    return np.argpartition(-strength, EXACT_FOR)[:EXACT_FOR]


def chi2_log_tail(x: Floats, k: Integers) -> Floats:
    """log of the upper tail of chi-square, also where it underflows."""
    with np.errstate(divide="ignore"):
        tail = np.log(special.chdtrc(k, x))
    far = ~np.isfinite(tail)
    if far.any():
        half = np.broadcast_to(k, x.shape)[far] / 2
        tail[far] = -x[far] / 2 + (half - 1) * np.log(x[far] / 2) - special.gammaln(half)
    return np.asarray(tail)


def log_choose(m: Any, k: Any) -> Any:
    """log of the number of ways to choose k of m."""
    return special.gammaln(m + 1) - special.gammaln(k + 1) - special.gammaln(m - k + 1)


@lru_cache(maxsize=512)
def stretches(n: int, shortest: int) -> Integers:
    """Stretches of 0..n worth looking at, as (start, end): seeded lengths that shrink by the root of 2, each shifted
    by half its length, and every stretch that runs to the end. Their number grows in step with n.

    Source: seeded intervals as in Kovacs, Buehlmann, Li and Munk, Biometrika 110 (2023) 249-256.
    """
    if n < shortest:
        return np.empty((0, 2), dtype=np.int64)
    parts = [np.array([[0, n]])]
    length = float(n)
    while length >= shortest:
        size = int(np.ceil(length))
        count = max(1, int(np.ceil((n - size) / max(1, size / 2))) + 1)
        starts = np.unique(np.linspace(0, n - size, count).round().astype(np.int64))
        parts.append(np.column_stack([starts, starts + size]))
        length /= np.sqrt(2)
    starts = np.unique(np.linspace(0, n - shortest, min(n - shortest + 1, 250)).round().astype(np.int64))
    parts.append(np.column_stack([starts, np.full(len(starts), n)]))
    return np.unique(np.concatenate(parts), axis=0)


def sharpen(start: int, end: int, n: int, strength: Strength, *, shortest: int, least_reach: int) -> tuple[int, int]:
    """The ends of a stretch within 0..n moved, one after the other, to where `strength` of (start, end) is largest."""
    for _ in range(3):
        reach = max(least_reach, (end - start) // 2)
        starts = np.arange(max(0, start - reach), min(end - shortest, start + reach) + 1)
        start = int(starts[np.argmax(strength(starts, end))])
        ends = np.arange(max(start + shortest, end - reach), min(n, end + reach) + 1)
        end = int(ends[np.argmax(strength(start, ends))])
    return start, end


def tail_log_p(z: Floats) -> Floats:
    """log of the two-sided normal tail."""
    return np.asarray(special.log_ndtr(-np.abs(z)) + np.log(2))
