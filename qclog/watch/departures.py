"""What a search finds, and how far the readings of one level are from the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qclog.watch.residuals import Floats, Integers
from qclog.watch.scoring import standardised

MOST_SHARE = 0.5
SHORTEST = 3


@dataclass(frozen=True, slots=True)
class Departure:
    """One identifier's departure: which readings, which aspects, how far each in spreads, and log of its chance.

    `log_p` allows for every place searched: `penalty` of it for the levels and stretches, the rest for the choice
    among `many` aspects. `slope` says that the effects are per rebuild.
    """

    kind: str
    level: int
    log_p: float
    readings: Integers
    effects: tuple[tuple[int, float], ...]
    whole: bool
    open_ended: bool
    penalty: float = 0.0
    many: int = 1
    harmless: float = 0.0
    slope: bool = False
    wider: bool = False


def against_the_rest(sums: Floats, counts: Floats, share: Floats, harmless: float) -> tuple[Floats, Floats]:
    """Standardised departure and mean against the others of the same kind.

    A level that holds `share` of the readings draws the reference toward itself by that share of its departure.
    """
    others = 1.0 - np.minimum(share, MOST_SHARE)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.nan_to_num(sums / counts) / others
    return standardised(means * counts * others, counts * others, harmless), means


def tally(cell: Integers, size: int, weights: Floats | None = None) -> Floats:
    return np.asarray(np.bincount(cell, weights=weights, minlength=size), dtype=np.float64)
