"""The output cover of a marine gearbox: shims under the bearing, stand-off without a gasket, pinch with one.

Stand-off is shim pack less recess, plus the way the face tilts, plus what gauge and hand add. The final pack is
chosen from the trial's readings, so the final stand-off says little of the case. All lengths in thou.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, pi

import numpy as np

from qclog.demo import dates, gauges
from qclog.demo.gauges import Spoken
from qclog.demo.plan import rounds_now
from qclog.demo.stories import LEAST_PINCH
from qclog.demo.visits import Visit

POSITIONS = ("12", "3", "6", "9")
_SHIM_SIZES = (20, 10, 5, 3, 2)
_TRIES = 5000
_LEAF_SHORT = 0.7  # thou: a pack made up to the nearest below, for want of a leaf
_STAND_OFF_READ_IN_ODD = {(4, 2): "3", (5, 1): "9", (6, 0): "6", (12, 1): "12", (13, 2): "3", (14, 0): "6"}


@dataclass(frozen=True, slots=True)
class Kind:
    """What one case type's cover is like."""

    recess: float
    faced: float  # added where the face was machined
    wanted: float  # final stand-off
    lower: float
    upper: float
    trial_pack: float


KINDS = {
    "LR-2": Kind(recess=25.0, faced=2.0, wanted=16.0, lower=15.0, upper=17.5, trial_pack=40.0),
    "LR-3": Kind(recess=30.0, faced=1.5, wanted=22.0, lower=21.0, upper=23.5, trial_pack=50.0),
}


@dataclass(frozen=True, slots=True)
class Assembly:
    """One trial or final assembly: the leaves, the pack as measured, the stand-off read at each position."""

    leaves: str
    pack: float
    stand_off: tuple[Spoken, ...]

    @property
    def mean(self) -> float:
        """Mean stand-off as read."""
        return sum(s.middle for s in self.stand_off) / len(self.stand_off)

    @property
    def recess(self) -> float:
        """Implied recess as read."""
        return self.pack - self.mean


@dataclass(frozen=True, slots=True)
class Cover:
    """The whole work on one cover and what was true of it."""

    trial: Assembly
    finals: tuple[Assembly, ...]
    recess: float
    pinch: float
    gasket_free: float

    @property
    def closure(self) -> float:
        """Final recess less trial recess, as read."""
        return self.finals[-1].recess - self.trial.recess


def true_recess(visit: Visit, batch_shift: float) -> float:
    """The recess of this case on the day, thou."""
    kind = KINDS[visit.case_type]
    faced = kind.faced + batch_shift if visit.batch else 0.0
    return kind.recess + faced + visit.case_shift + visit.extra_recess + dates.season(visit.day)


def fit(visit: Visit, recess: float, gasket_mean: float, rng: np.random.Generator) -> Cover:
    """Trial and final assembly of one cover.

    The chance part is drawn again until the job is one that the plan wants: pinch under the least or not, inside
    the limits when it left, and closed as well as it should.
    """
    for _ in range(_TRIES):
        cover = _fit_once(visit, recess, gasket_mean, rng)
        if _is_wanted(visit, cover):
            return cover
    raise AssertionError(f"no cover as planned for {visit.case_type} {visit.slot}")


def _fit_once(visit: Visit, recess: float, gasket_mean: float, rng: np.random.Generator) -> Cover:
    kind = KINDS[visit.case_type]
    out_of_true = visit.tilt or float(rng.uniform(0, 1))
    lean = float(rng.uniform(0, 2 * pi))
    free = gasket_mean + float(rng.normal(0, 0.08 if "thick_gasket" in visit.tags else 0.2))
    gasket = 0.89 * free + float(rng.normal(0, 0.1))

    def assemble(pack: float, gauge: str, stage: str) -> tuple[float, Assembly]:
        real = pack + float(rng.normal(0, 0.2))
        gaps = [real - recess + out_of_true / 2 * cos(i * pi / 2 - lean) for i in range(4)]
        said = tuple(
            _say(visit, gauge, stage, position, gap, rng) for position, gap in zip(POSITIONS, gaps, strict=True)
        )
        measured = round(real + float(rng.normal(0, 0.12)), 1)
        return real, Assembly(leaves_for(round(pack)), measured, said)

    final_gauge = visit.final_gauge or visit.gauge
    short = _LEAF_SHORT if "other_low" in visit.tags else 0.0
    _, trial = assemble(kind.trial_pack, visit.gauge, "trial")
    real, final = assemble(round(trial.recess + kind.wanted - short), final_gauge, "final")
    finals = [final]
    if "caught" in visit.tags:
        real, again = assemble(round(final.recess + kind.wanted), final_gauge, "final")
        finals.append(again)
    return Cover(trial, tuple(finals), recess, real - recess - gasket, free)


def _say(visit: Visit, gauge: str, stage: str, position: str, gap: float, rng: np.random.Generator) -> Spoken:
    noise = 0.8 if "worn" in visit.tags else gauges.GAUGE_NOISE
    felt = gap + gauges.shift(gauge, visit.day) + gauges.TECHNICIAN_BIAS[visit.technician]
    felt += float(rng.normal(0, noise))
    habit = float(rng.random())
    if not rounds_now(visit) or not gauge.startswith("FG"):
        return gauges.say(gauge, felt)
    if "rounded" in visit.tags and stage == "final":
        return gauges.rounded_feeler(felt, odd=_STAND_OFF_READ_IN_ODD.get(visit.slot) == position)
    return gauges.rounded_feeler(felt) if habit < 0.7 else gauges.feeler(felt)


def is_meant_low(visit: Visit) -> bool:
    """Whether the plan wants this job's true pinch under the least."""
    if visit.tags & {"thick_gasket", "other_low"}:
        return True
    return visit.case_type == "LR-2" and "dropped_gauge" in visit.tags and "caught" not in visit.tags


def _is_wanted(visit: Visit, cover: Cover) -> bool:
    kind, last = KINDS[visit.case_type], cover.finals[-1]
    tests: list[Callable[[], bool]] = [
        lambda: (cover.pinch < LEAST_PINCH - 0.05) == is_meant_low(visit),
        lambda: is_meant_low(visit) or cover.pinch > LEAST_PINCH + 0.05,
        lambda: kind.lower + 0.1 <= last.mean <= kind.upper - 0.3,
    ]
    if "caught" in visit.tags:
        first = cover.finals[0]
        tests += [lambda: 13.9 <= first.mean <= 14.9, lambda: 0.9 <= cover.closure <= 2.1]
    elif "worn" not in visit.tags:
        tests += [lambda: abs(cover.closure) <= 1.4]
    return all(test() for test in tests)


def leaves_for(thou: int) -> str:
    """The fewest leaves of the shim stock (2, 3, 5, 10, 20) that make a pack of `thou`, as `20+20+2`."""
    best: dict[int, tuple[int, ...]] = {0: ()}
    for total in range(1, thou + 1):
        ways = [(size, *best[total - size]) for size in _SHIM_SIZES if total - size in best]
        if ways:
            best[total] = min(ways, key=len)
    leaves = best.get(thou) or best.get(thou + 1) or ()
    return "+".join(str(leaf) for leaf in sorted(leaves, reverse=True))
