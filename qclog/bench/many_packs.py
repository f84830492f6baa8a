"""Packs for several wants at once from one drawer: left and right of a carrier, or the jobs of the day.

A whole-number program, solved exactly by SciPy's `milp` (HiGHS) in three steps, each holding what the last one
found: least total by which wants miss their tolerances, then fewest leaves, then least total error.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from qclog.bench.gate import checked
from qclog.bench.packs import Choice, Leaf, Pack, Picked, Want, cautions_for, check_drawer, exact, make_pack, off
from qclog.errors import InputError

Floats = npt.NDArray[np.float64]
_SLACK = 1e-6
_USUAL_SIZE = 20.0


@dataclass(frozen=True, slots=True)
class Together:
    """Wants (by their place in the list) whose packs must add up: the preload of a carrier is the total."""

    wants: tuple[int, ...]
    thickness: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class Packs:
    """One choice for each want, in their order (best None: missed), the pack to fit for each, and the total missed."""

    choices: tuple[Choice, ...]
    packs: tuple[Pack, ...]
    missed_by: float

    @property
    def reached(self) -> bool:
        """Whether every want and total is inside its tolerance."""
        return self.missed_by == 0


@checked
def choose_packs(drawer: Sequence[Leaf], wants: Sequence[Want], together: Sequence[Together] = ()) -> Packs:
    """The best packs for all wants from the leaves there are.

    InputError for no wants, an empty drawer, or fewer leaves than the wants ask for at least.
    """
    if not wants:
        raise InputError("say what packs are wanted", field="wanted")
    check_drawer(drawer, sum(w.least for w in wants))
    program = _Program(drawer, wants, together)
    missed = program.solve(program.excess)
    if missed is None:
        raise InputError(
            "the drawer can't give packs of so many leaves",
            field="leaves",
            hint="ask for fewer leaves or count more in",
        )
    program.hold(program.excess, missed)
    leaves = program.solve(program.leaves)
    if leaves is not None:
        program.hold(program.leaves, leaves)
    program.solve(program.errors)
    packs = program.packs()
    choices = []
    for want, pack in zip(wants, packs, strict=True):
        error = off(pack, want)
        best = pack if abs(error) <= exact(want.tolerance) else None
        below, above = (pack if error <= 0 else None), (pack if error >= 0 else None)
        choices.append(Choice(want, best, below, above, cautions_for(best, drawer, want)))
    return Packs(tuple(choices), packs, float(_missed(packs, wants, together)))


def _missed(packs: Sequence[Pack], wants: Sequence[Want], together: Sequence[Together]) -> Fraction:
    """The total by which packs miss the tolerances of their wants and totals, from the sizes as typed."""
    errors = [abs(off(pack, want)) - exact(want.tolerance) for pack, want in zip(packs, wants, strict=True)]
    for one in together:
        asked = Fraction(sum(exact(wants[i].thickness) for i in one.wants)) - exact(one.thickness)
        error = sum((off(packs[i], wants[i]) for i in one.wants), asked)
        errors.append(abs(error) - exact(one.tolerance))
    return sum((max(Fraction(0), error) for error in errors), Fraction(0))


class _Program:
    """Columns: leaves of each kind for each want; then for each want and total: error over, error under, excess."""

    def __init__(self, drawer: Sequence[Leaf], wants: Sequence[Want], together: Sequence[Together]) -> None:
        self.kinds = [(i, leaf, t) for i, leaf in enumerate(drawer) if leaf.count for t in leaf.thicknesses]
        # The solver's own slack is meant for sizes of this order, whatever unit they are in.
        scale = _USUAL_SIZE / max(t for _, _, t in self.kinds)
        self.wants = wants
        goals: list[tuple[tuple[int, ...], float, float]]
        goals = [((i,), w.thickness, w.tolerance) for i, w in enumerate(wants)]
        goals += [(t.wants, t.thickness, t.tolerance) for t in together]
        k, w, g = len(self.kinds), len(wants), len(goals)
        self.width = k * w + 3 * g
        self.rows: list[tuple[Floats, float, float]] = []
        self.leaves = self._ones(range(k * w))
        self.errors = self._ones([c for i in range(g) for c in (k * w + 3 * i, k * w + 3 * i + 1)])
        self.excess = self._ones(k * w + 3 * i + 2 for i in range(g))
        for i, want in enumerate(wants):
            most = float("inf") if want.most is None else want.most
            self.rows.append((self._ones(range(i * k, (i + 1) * k)), want.least, most))
        for i in sorted({i for i, _, _ in self.kinds}):
            mine = [j + n * k for j, (at, _, _) in enumerate(self.kinds) if at == i for n in range(w)]
            self.rows.append((self._ones(mine), 0, drawer[i].count))
        for i, (members, thickness, tolerance) in enumerate(goals):
            over, under, excess = (k * w + 3 * i + n for n in range(3))
            row = np.zeros(self.width)
            for n in members:
                row[n * k : (n + 1) * k] = [t * scale for _, _, t in self.kinds]
            row[over], row[under] = -1, 1
            self.rows.append((row, thickness * scale, thickness * scale))
            row = self._ones([over, under])
            row[excess] = -1
            self.rows.append((row, -np.inf, tolerance * scale))
        self.whole = np.r_[np.ones(k * w), np.zeros(3 * g)]
        self.found: Floats = np.zeros(self.width)

    def _ones(self, columns: Iterable[int]) -> Floats:
        row = np.zeros(self.width)
        row[list(columns)] = 1
        return row

    def hold(self, row: Floats, value: float) -> None:
        """From now on keep `row` at `value` or less."""
        self.rows.append((row, -np.inf, value + _SLACK))

    def solve(self, objective: Floats) -> float | None:
        """The least of `objective`; None when nothing fits."""
        from scipy import optimize

        matrix, low, high = (np.array(part) for part in zip(*self.rows, strict=True))
        done = optimize.milp(
            objective,
            constraints=optimize.LinearConstraint(matrix, low, high),
            integrality=self.whole,
            bounds=optimize.Bounds(0, np.inf),
            options={"mip_rel_gap": 0.0},
        )
        if done.x is None:
            return None
        self.found = done.x
        return float(objective @ done.x)

    def packs(self) -> tuple[Pack, ...]:
        """The pack of each want in what was found last."""
        k = len(self.kinds)
        counts = np.rint(self.found[: k * len(self.wants)]).astype(int).reshape(len(self.wants), k)
        return tuple(
            make_pack([Picked(leaf, t) for n, (_, leaf, t) in zip(row, self.kinds, strict=True) for _ in range(n)])
            for row in counts.tolist()
        )
