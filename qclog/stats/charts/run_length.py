"""How long a set of run tests goes without a signal, exactly, by Markov chain.

Zone tests need only remember which zones the last points fell in: a finite chain, solved as linear equations.
Steady runs and zigzags also depend on the last value itself; its distribution inside each zone is carried
as a polynomial on the probability scale, where drawing the next point and comparing it are exact operations.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import sparse, special
from scipy.sparse.linalg import spsolve

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.quadrature import legendre_nodes
from qclog.stats.base.series import Floats, read_number
from qclog.stats.charts.run_tests import RunTest, choose_tests
from qclog.stats.charts.zone_history import ZoneHistory, build_zone_history

_NODES = 10
_MAX_STEPS = 200_000


@dataclass(frozen=True, slots=True)
class RunLength:
    """Mean number of points to the first signal; `shift` and `spread` in units of the process spread."""

    mean: float
    tests: tuple[str, ...]
    shift: float
    spread: float

    @property
    def text(self) -> str:
        """The figure as a person reads it."""
        kind = "a false alarm" if self.shift == 0 and self.spread == 1 else "a signal"
        return f"{kind} every {self.mean:.3g} units"


@checked
def average_run_length(tests: Iterable[RunTest | str], *, shift: float = 0.0, spread: float = 1.0) -> RunLength:
    """Mean number of points until any of the tests signals, from a fresh start.

    Parameters
    ----------
    tests : run tests or their names.
    shift : of the process mean, in spreads. spread : of the process, as a multiple of the one assumed.

    Returns
    -------
    RunLength : for independent normal readings with known centre and spread.

    Raises
    ------
    StatisticsError : unknown test, or `spread` of 0 or less.

    Source: method of Champ & Woodall, Technometrics 29(4) 1987, 393-399, carried on to the tests that compare
    neighbours.
    """
    chosen = choose_tests(tests)
    read_number(shift, "shift")
    read_number(spread, "spread", above=0)
    mean = _mean(chosen, float(shift), float(spread))
    return RunLength(mean, tuple(t.name for t in chosen), float(shift), float(spread))


@lru_cache(maxsize=256)
def _mean(tests: tuple[RunTest, ...], shift: float, spread: float) -> float:
    history = build_zone_history(tests)
    edges = (np.array(history.edges) - shift) / spread
    below = np.concatenate([[0.0], special.ndtr(edges), [1.0]])
    above = np.concatenate([[1.0], special.ndtr(-edges), [0.0]])
    shares = np.where(below[:-1] > 0.5, above[:-1] - above[1:], np.diff(below))
    if any(t.kind in ("steady", "zigzag") for t in tests):
        return _mean_with_neighbours(history, shares, _Directions(tests))
    size = len(history.zone)
    matrix = sparse.eye_array(size, format="csc")
    for zone, share in enumerate(shares):
        matrix = matrix - share * _moves(history, zone)
    answer = spsolve(sparse.csc_array(matrix), np.ones(size))
    return float(answer[0])


def _moves(history: ZoneHistory, zone: int) -> sparse.csc_array:
    """Sparse map from each state to the state that follows a point in `zone`; signals have no column."""
    target = history.following[:, zone]
    alive = np.flatnonzero(target >= 0)
    size = len(history.zone)
    return sparse.csc_array((np.ones(alive.size), (alive, target[alive])), shape=(size, size))


class _Directions:
    """What steady runs and zigzags must remember: direction, steps that way, and turns so far."""

    def __init__(self, tests: tuple[RunTest, ...]) -> None:
        steady = min((t.count - 1 for t in tests if t.kind == "steady"), default=0)
        zigzag = min((t.count - 1 for t in tests if t.kind == "zigzag"), default=0)
        start = (0, 0, 0)
        self.states = [start]
        places = {start: 0}
        moves: list[tuple[int, int]] = []
        for state in self.states:
            pair = []
            for way in (1, -1):
                run = min(state[1] + 1, steady or 1) if way == state[0] else 1
                turns = 1 if way == state[0] else min(state[2] + 1, zigzag or 1)
                if (steady and run >= steady) or (zigzag and turns >= zigzag):
                    pair.append(-1)
                    continue
                following = (way, run, turns)
                if following not in places:
                    places[following] = len(self.states)
                    self.states.append(following)
                pair.append(places[following])
            moves.append((pair[0], pair[1]))
        size = len(self.states)
        self.up, self.down = (
            sparse.csr_array(
                (
                    np.ones(sum(m[k] >= 0 for m in moves)),
                    ([m[k] for m in moves if m[k] >= 0], [i for i, m in enumerate(moves) if m[k] >= 0]),
                ),
                shape=(size, size),
            ).toarray()
            for k in (0, 1)
        )


def _mean_with_neighbours(history: ZoneHistory, shares: Floats, directions: _Directions) -> float:
    t, weights = legendre_nodes(_NODES)
    t, weights = (t + 1) / 2, weights / 2
    running = _running_integral(t)
    zone = np.array(history.zone)
    size, turns = len(zone), len(directions.states)
    moves = [_moves(history, z).T.tocsr() for z in range(len(shares))]
    # density[h, d, i]: history h, direction d, last value at node i of the zone of h, per unit of node
    # position
    density = np.zeros((size, turns, _NODES))
    for z, share in enumerate(shares):
        first = history.following[0, z]
        if first >= 0:
            density[first, 0, :] += share
    total, survival = 1.0, [float((density @ weights).sum())]
    for _ in range(_MAX_STEPS):
        total += survival[-1]
        mass = density @ weights
        rising = mass @ directions.up.T
        falling = mass @ directions.down.T
        partly = density @ running.T
        rising_partly = directions.up @ partly
        falling_partly = directions.down @ (mass[:, :, None] - partly)
        following = np.zeros_like(density)
        for z, share in enumerate(shares):
            if share == 0:
                continue
            flat = rising * (zone < z)[:, None] + falling * (zone > z)[:, None]
            flat[0] = 0.0
            following += share * (moves[z] @ flat)[:, :, None]
            same = zone == z
            inside = (rising_partly[same] + falling_partly[same]).reshape(int(same.sum()), turns * _NODES)
            following += share * (moves[z][:, np.flatnonzero(same)] @ inside).reshape(density.shape)
        density = following
        survival.append(float((density @ weights).sum()))
        if len(survival) > 40 and _settled(survival):
            ratio = survival[-1] / survival[-2]
            return total + survival[-1] / (1 - ratio)
    raise StatisticsError(
        "the run length is too long to work out", field="tests", hint="add a test that signals sooner"
    )


def _settled(survival: list[float]) -> bool:
    if survival[-1] <= 1e-13:
        return True
    now, before = survival[-1] / survival[-2], survival[-11] / survival[-12]
    return abs(now - before) <= 1e-9 * (1 - now)


def _running_integral(t: Floats) -> Floats:
    """Matrix taking values at nodes `t` of (0, 1) to the integral of their polynomial from 0 to each node."""
    powers = np.arange(t.size)
    vander = t[:, None] ** powers
    integrals = t[:, None] ** (powers + 1) / (powers + 1)
    return np.asarray(np.linalg.solve(vander.T, integrals.T).T, dtype=np.float64)
