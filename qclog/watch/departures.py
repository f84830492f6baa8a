"""What a search finds: one identifier's departure, and taking it out of the residuals."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from qclog.watch.evidence import Evidence
from qclog.watch.observations import ALONE, PERSON
from qclog.watch.residuals import Floats, Integers

MOST_SHARE = 0.5
SHORTEST = 5  # visits of a gauge
SHORTEST_OF_A_PERSON = 12
DRAWN_IN = 4.0  # spreads: in sums over many units a wilder one counts as this, so that it turns no finding round
RELUCTANCE = {PERSON: log(100)}  # a person is named on a hundred times the evidence that a thing is


@dataclass(frozen=True, slots=True, eq=False)
class Departure:
    """One identifier's departure: which readings, which aspects, how far each in spreads, and log of its chance.

    `log_p` allows for every place searched. `slope` says that the effects are per rebuild; a `curve` has what a drift
    adds to each of `readings`. `rivals` are levels of other identifiers that explain the same readings nearly as well.
    `places`: how many stretches were looked at, where few were.
    """

    kind: str
    level: int
    log_p: float
    readings: Integers
    effects: tuple[tuple[int, float], ...]
    whole: bool
    slope: bool = False
    curve: Floats | None = None
    rivals: tuple[tuple[str, int], ...] = ()
    places: int | None = None

    @property
    def key(self) -> tuple[str, int, int]:
        """What tells it from others, also after it was judged anew: whose, and from which reading on."""
        return self.kind, self.level, int(self.readings[0])

    @property
    def alone(self) -> bool:
        """Whether it is about one unit, not a group."""
        return self.kind in ALONE

    def parts(self, evidence: Evidence) -> list[tuple[int, Integers, Floats, float]]:
        """For each aspect it shows in: its number, the readings, what an effect of one adds to each, and the effect."""
        if self.curve is not None:
            return [(self.effects[0][0], self.readings, self.curve, 1.0)]
        of = evidence.aspect[self.readings]
        return [
            (aspect, mine, evidence.rebuild[mine] - 1.0 if self.slope else np.ones(len(mine)), effect)
            for aspect, effect in self.effects
            for mine in (self.readings[of == aspect],)
        ]


def take_out(evidence: Evidence, departure: Departure) -> None:
    """Subtract a departure's effects from the residuals it explains and set the middle of their series to 0 again; a
    single odd unit is set aside whole.
    """
    parts = departure.parts(evidence)
    if departure.alone:
        for _, mine, _, _ in parts:
            evidence.z[mine] = 0.0
            evidence.counts[mine] = False
        return
    add(evidence, departure, -1.0)
    touched = np.zeros(int(evidence.series.max()) + 1, dtype=bool)
    for _, mine, _, _ in parts:
        touched[evidence.series[mine]] = True
    evidence.z -= np.where(touched, centres(evidence, evidence.z), 0.0)[evidence.series]


def add(evidence: Evidence, departure: Departure, times: float) -> None:
    """Add a departure's effects to the residuals so many times: once puts it back, -1 takes it out."""
    for _, mine, x, effect in departure.parts(evidence):
        evidence.z[mine] += times * effect * x


def centres(evidence: Evidence, z: Floats) -> Floats:
    """The middle of each series, wild readings drawn in."""
    size = int(evidence.series.max()) + 1
    use = evidence.counts.astype(float)
    count = np.maximum(tally(evidence.series, size, use), 1.0)
    return tally(evidence.series, size, np.clip(z, -DRAWN_IN, DRAWN_IN) * use) / count


def tally(cell: Integers, size: int, weights: Floats | None = None) -> Floats:
    return np.asarray(np.bincount(cell, weights=weights, minlength=size), dtype=np.float64)
