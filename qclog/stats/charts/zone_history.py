"""The states a set of zone tests must remember: what the last points did, cut to what can still matter."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.charts.run_tests import RunTest

_MOST_STATES = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class ZoneHistory:
    """A finite machine. State 0 is the fresh start.

    `edges` cut the standardised readings into zones; `zone` is where the last point of each state fell (-1 at
    the start); `following[state, zone]` is the next state, or -1 for a signal.
    """

    edges: tuple[float, ...]
    zone: tuple[int, ...]
    following: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Watch:
    """One side of one test: in which zones a point counts, and how many of the last `window` must."""

    counts: tuple[bool, ...]
    count: int
    window: int

    def advance(self, memory: int, zone: int) -> int:
        """Next memory, or -1 for a signal. In-a-row tests remember a number, others bits."""
        hit = self.counts[zone]
        if self.count == self.window:
            return (-1 if memory + 1 >= self.count else memory + 1) if hit else 0
        if hit and memory.bit_count() + 1 >= self.count:
            return -1
        bits = (memory << 1 | hit) & ((1 << (self.window - 1)) - 1)
        # An old mark too far from the rest to complete the count in time is forgotten.
        while bits:
            age = bits.bit_length()
            if bits.bit_count() + self.window - age >= self.count:
                break
            bits ^= 1 << (age - 1)
        return bits


def build_zone_history(tests: tuple[RunTest, ...]) -> ZoneHistory:
    """Find every state that the zone tests among `tests` can reach; the other kinds are left to the caller.

    Raises
    ------
    StatisticsError : a set so large that its states can't be listed.
    """
    zoned = [t for t in tests if t.kind not in ("steady", "zigzag")]
    edges = tuple(sorted({e for t in zoned for e in (t.distance, -t.distance)}))
    ends = [-np.inf, *edges, np.inf]
    middles = [
        (low + high) / 2 if np.isfinite(low + high) else (high - 1 if np.isfinite(high) else low + 1)
        for low, high in pairwise(ends)
    ]
    if not edges:
        middles = [0.0]
    watches: list[_Watch] = []
    for t in zoned:
        if t.kind == "beyond, one side":
            watches.append(_Watch(tuple(m > t.distance for m in middles), t.count, t.window))
            watches.append(_Watch(tuple(m < -t.distance for m in middles), t.count, t.window))
        elif t.kind == "within":
            watches.append(_Watch(tuple(abs(m) < t.distance for m in middles), t.count, t.window))
        else:
            watches.append(_Watch(tuple(abs(m) > t.distance for m in middles), t.count, t.window))
    by_value = len(zoned) < len(tests)
    start = (-1, *(0 for _ in watches))
    states, places = [start], {start: 0}
    rows: list[list[int]] = []
    for state in states:
        row = []
        for zone in range(len(middles)):
            memory = [w.advance(m, zone) for w, m in zip(watches, state[1:], strict=True)]
            if -1 in memory:
                row.append(-1)
                continue
            # The zone of the last point matters only where neighbours are compared.
            following = (zone if by_value else 0, *memory)
            if following not in places:
                places[following] = len(states)
                states.append(following)
            row.append(places[following])
        rows.append(row)
        if len(states) > _MOST_STATES:
            raise StatisticsError(
                "too many states to follow", field="tests", found=len(states), hint="choose fewer tests"
            )
    return ZoneHistory(edges, tuple(s[0] for s in states), np.array(rows, dtype=np.int64))
