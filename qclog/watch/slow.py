"""What is left when shifts are out: readings that scatter more with one gauge or person, and slow drifts."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from qclog.watch.evidence import Evidence
from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import tail_log_p

ALPHA = 0.02
FEWEST = 30
DRAWN_IN = 9.0  # squared residuals beyond three spreads count as three, so that one odd unit is no wide scatter
HARMLESS_SCATTER = 0.15
CLEAR_RATIO = 1.6
CLEAR_DRIFT = 1.0
HARMLESS_DRIFT = 0.30


@dataclass(frozen=True, slots=True)
class Slow:
    """A widening or a drift: whose, over which readings, how large in spreads, and log of its chance.

    `first_enough` is the place in `readings` at which it was first plain.
    """

    kind: str
    name: str
    readings: Integers
    size: float
    log_p: float
    first_enough: int


def find_wider(evidence: Evidence) -> list[Slow]:
    """Gauges and technicians whose readings scatter more than the rest, over all or from some eighth of them on."""
    squares = np.minimum(evidence.z**2, DRAWN_IN)
    usable = squares[evidence.counts]
    if len(usable) < FEWEST:
        return []
    middle, wide = float(usable.mean()), float(usable.std())
    found = []
    for kind in ("gauge", "technician"):
        members = evidence.members[kind]
        for level, name in enumerate(members.names):
            mine = members.reading[members.level == level]
            mine = mine[evidence.counts[mine]]
            best = _widest(squares, mine, middle, wide, places=8 * len(members.names) * 2)
            if best is not None:
                start, log_p, first = best
                ratio = float(squares[mine[start:]].mean()) / middle
                found.append(Slow(kind, name, mine[start:], float(np.sqrt(ratio - 1)), log_p, first))
    return found


def _widest(
    squares: Floats, mine: Integers, middle: float, wide: float, *, places: int
) -> tuple[int, float, int] | None:
    best: tuple[int, float, int] | None = None
    for eighth in range(8):
        start = len(mine) * eighth // 8
        values = squares[mine[start:]]
        if len(values) < FEWEST:
            break
        n = np.arange(1, len(values) + 1)
        ratio = np.cumsum(values) / n / middle
        z = (ratio - 1) / np.sqrt((wide / middle) ** 2 / n + HARMLESS_SCATTER**2)
        log_p = tail_log_p(np.maximum(z, 0.0)) + log(places)
        enough = (log_p <= log(ALPHA)) & (ratio >= CLEAR_RATIO) & (n >= FEWEST)
        if enough[-1] and (best is None or log_p[-1] < best[1]):
            best = (start, float(log_p[-1]), int(np.argmax(enough)))
    return best


def find_drifts(evidence: Evidence) -> list[Slow]:
    """Characteristics of a case type that move slowly and follow no identifier."""
    found = []
    keys = evidence.case_type * len(evidence.aspects) + evidence.aspect
    series = np.unique(keys[evidence.counts])
    for key in series:
        mine = np.flatnonzero((keys == key) & evidence.counts)
        if len(mine) < FEWEST:
            continue
        drift = _drift(evidence.z[mine], evidence.taken[mine].astype(float), places=len(series))
        if drift is not None:
            size, log_p, first = drift
            found.append(Slow("drift", evidence.case_types[int(evidence.case_type[mine[0]])], mine, size, log_p, first))
    return found


def _drift(z: Floats, taken: Floats, *, places: int) -> tuple[float, float, int] | None:
    """Change over the whole time, log p and where it was first enough, by least squares on all readings up to each."""
    x = (taken - taken[0]) / max(1.0, taken[-1] - taken[0])
    n = np.arange(1, len(z) + 1, dtype=float)
    sx, sz = np.cumsum(x), np.cumsum(np.clip(z, -4, 4))
    sxx = np.cumsum(x**2) - sx**2 / n
    sxz = np.cumsum(x * np.clip(z, -4, 4)) - sx * sz / n
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(sxx > 0, sxz / np.where(sxx > 0, sxx, 1.0), 0.0)
        change = slope * x
        spread = np.sqrt(x**2 / np.where(sxx > 0, sxx, np.inf) + HARMLESS_DRIFT**2)
    log_p = tail_log_p(change / spread) + log(places)
    enough = (log_p <= log(ALPHA)) & (np.abs(change) >= CLEAR_DRIFT) & (n >= FEWEST)
    if not enough[-1]:
        return None
    return float(change[-1]), float(log_p[-1]), int(np.argmax(enough))
