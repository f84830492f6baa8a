"""Slow changes that follow no identifier, and readings that scatter more with one gauge or person."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import log

import numpy as np

from qclog.watch.departures import DRAWN_IN, RELUCTANCE, Departure, tally
from qclog.watch.evidence import Evidence
from qclog.watch.observations import OVER_TIME
from qclog.watch.residuals import Floats, Integers, winsorised
from qclog.watch.scoring import chi2_log_tail, sharpen, stretches, tail_log_p

ALPHA = 0.02
FEWEST = 30
BLOCKS = (8, 16, 24, 40)
HARMLESS_DRIFT = 0.28
CLEAR_DRIFT = 0.55  # spreads: root mean square of the change
EIGHTHS = 8
WIDE_DRAWN_IN = 9.0  # squared residuals beyond three spreads count as three, so that one odd unit is no wide scatter
HARMLESS_SCATTER = 0.15
CLEAR_RATIO = 1.6


@dataclass(frozen=True, slots=True)
class Slow:
    """A widening: whose, over which readings, how large in spreads, and log of its chance."""

    kind: str
    level: int
    readings: Integers
    size: float
    log_p: float


def series_of(evidence: Evidence) -> list[Integers]:
    """The readings of each characteristic of each case type, in time order."""
    keys = evidence.case_type * len(evidence.aspects) + evidence.aspect
    order = np.argsort(keys, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(keys[order])) + 1)
    return [mine for mine in parts if len(mine) >= FEWEST]


def find_drift(evidence: Evidence, all_series: list[Integers], number: int, together: Floats) -> Departure | None:
    """The slow change of one characteristic of a case type, if there is any."""
    mine = all_series[number][evidence.counts[all_series[number]]]
    return drift_of(evidence, mine, number, places=len(all_series), together=together) if len(mine) >= FEWEST else None


def drift_of(evidence: Evidence, mine: Integers, number: int, *, places: int, together: Floats) -> Departure | None:
    """The slow change in one series: a straight line from some eighth of it on, or means of blocks that wander."""
    z = np.clip(evidence.z[mine], -DRAWN_IN, DRAWN_IN)
    aspect = int(evidence.aspect[mine[0]])
    scatter = float(together[aspect])
    wander, block = _wander(z, scatter)
    line = _line(z, evidence.taken[mine].astype(float), scatter)
    log_p = min(wander, line) + log(2 * places) + log(len(evidence.members))
    if log_p >= 0:
        return None
    curve = smooth(z, block)
    if float(np.sqrt(np.mean(curve**2))) < CLEAR_DRIFT and float(np.ptp(curve)) < 3 * CLEAR_DRIFT:
        return None
    return Departure("drift", number, log_p, mine, ((aspect, 1.0),), whole=True, curve=curve)


def smooth(z: Floats, block: int) -> Floats:
    """The slow part of a series: means under a bell about as wide as a block."""
    kernel = _kernel(block)
    return np.asarray(np.convolve(z, kernel, "same") / np.convolve(np.ones(len(z)), kernel, "same"))[: len(z)]


@lru_cache(maxsize=8)
def _kernel(block: int) -> Floats:
    reach = np.arange(-block, block + 1)
    return np.asarray(np.exp(-0.5 * (reach / (block / 2.5)) ** 2))


def _wander(z: Floats, scatter: float) -> tuple[float, int]:
    best, chosen = 0.0, BLOCKS[0]
    for size in BLOCKS:
        count = len(z) // size
        if count < 3:
            break
        means = z[: count * size].reshape(count, size).mean(axis=1)
        means = means - means.mean()
        spread = scatter / size + HARMLESS_DRIFT**2
        # A fault of one batch fills a block or two: what counts as wandering goes on, so none may count for all.
        squares = np.minimum(means**2 / spread, 9.0)
        log_p = float(chi2_log_tail(np.array([squares.sum()]), np.array([count - 1]))[0]) + log(len(BLOCKS))
        if log_p < best:
            best, chosen = log_p, size
    return best, chosen


def _line(z: Floats, taken: Floats, scatter: float) -> float:
    """log p of the strongest change that begins at some eighth and rises steadily to the end."""
    x = (taken - taken[0]) / max(1.0, taken[-1] - taken[0])
    best = 0.0
    for eighth in range(EIGHTHS - 1):
        ramp = np.maximum(0.0, x - eighth / EIGHTHS)
        ramp = ramp - ramp.mean()
        across = float(np.ptp(ramp))
        squares = float((ramp**2).sum())
        if squares <= 0:
            continue
        change = float((ramp * z).sum()) / squares * across
        error = np.sqrt(scatter * across**2 / squares + HARMLESS_DRIFT**2)
        best = min(best, float(tail_log_p(np.array([change / error]))[0]) + log(EIGHTHS))
    return best


def find_wider(evidence: Evidence) -> list[Slow]:
    """Gauges and people whose readings scatter more than the rest, for a stretch, over all they read or one aspect."""
    if evidence.counts.sum() < FEWEST:
        return []
    ratios, spreads = _squares(evidence)
    found = []
    places = 0
    for kind in OVER_TIME:
        members = evidence.members[kind]
        for level in range(len(members.names)):
            mine = members.of(level)
            mine = mine[evidence.counts[mine]]
            aspects = np.unique(evidence.aspect[mine])
            for part in (mine, *(mine[evidence.aspect[mine] == a] for a in aspects if len(aspects) > 1)):
                best, tried = _widest(ratios[part], float(spreads[part].mean()) if len(part) else 1.0)
                places += tried
                if best is not None:
                    start, end, log_p = best
                    start, end = _sharpened(ratios[part], start, end)
                    mine_here = part[start:end]
                    size = np.sqrt(max(0.1, winsorised(evidence.z[mine_here], 0.05)[1] ** 2 - 1))
                    found.append(Slow(kind, level, mine_here, float(size), log_p + RELUCTANCE.get(kind, 0.0)))
    paid = [replace(f, log_p=f.log_p + log(places)) for f in found]
    return _apart(sorted((f for f in paid if f.log_p <= log(ALPHA)), key=lambda f: f.log_p))


def _squares(evidence: Evidence) -> tuple[Floats, Floats]:
    """Squared residuals against those usual for their aspect, and how far such squares themselves scatter."""
    squares = np.minimum(evidence.z**2, WIDE_DRAWN_IN)
    width = len(evidence.aspects)
    of, use = evidence.aspect, evidence.counts.astype(float)
    n = np.maximum(tally(of, width, use), 1.0)
    mean = np.maximum(tally(of, width, squares * use) / n, 0.05)
    scatter = np.sqrt(np.maximum(tally(of, width, squares**2 * use) / n - mean**2, 0.0))
    return squares / mean[of], (scatter / mean)[of]


def _widest(ratios: Floats, spread: float) -> tuple[tuple[int, int, float] | None, int]:
    spans = stretches(len(ratios), FEWEST)
    if not len(spans):
        return None, 0
    running = np.concatenate([[0.0], np.cumsum(ratios)])
    n = (spans[:, 1] - spans[:, 0]).astype(float)
    ratio = (running[spans[:, 1]] - running[spans[:, 0]]) / n
    z = (ratio - 1) / np.sqrt(spread**2 / n + HARMLESS_SCATTER**2)
    log_p = np.where(ratio >= CLEAR_RATIO, tail_log_p(np.maximum(z, 0.0)), 0.0)
    at = int(np.argmin(log_p))
    if log_p[at] >= 0:
        return None, len(spans)
    return (int(spans[at, 0]), int(spans[at, 1]), float(log_p[at])), len(spans)


def _sharpened(ratios: Floats, start: int, end: int) -> tuple[int, int]:
    """The ends of a stretch moved to where its wider scatter begins and stops: where the likelihood is largest."""
    running = np.concatenate([[0.0], np.cumsum(ratios)])

    def strength(start: Integers | int, end: Integers | int) -> Floats:
        n = np.maximum(np.asarray(end) - np.asarray(start), 1)
        ratio = np.maximum((running[end] - running[start]) / n, 1.0)
        return np.asarray(n * (ratio - 1 - np.log(ratio)))

    return sharpen(start, end, len(ratios), strength, shortest=FEWEST, least_reach=8)


def _apart(found: list[Slow]) -> list[Slow]:
    """The strongest, without those that lie mostly in a stronger one."""
    kept: list[Slow] = []
    for one in found:
        if all(len(np.intersect1d(one.readings, k.readings)) < 0.3 * len(one.readings) for k in kept):
            kept.append(one)
    return kept
