"""When a finding would first have been raised, by a watch run on the readings up to every moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from multiprocessing import get_context
from os import cpu_count
from typing import TYPE_CHECKING

import polars as pl

from qclog.domain.findings import Finding
from qclog.watch.findings import find
from qclog.watch.observations import Observations

if TYPE_CHECKING:
    from collections.abc import Iterator

GRID = 16  # moments that are looked at for everything; between them each finding is looked for by halving
FEWEST_TO_SHARE = 4_000  # readings from which a second processor is worth its start
Raised = tuple[datetime, str]  # the reading's moment, and its job
Look = Callable[[Iterable[datetime]], list[frozenset[str]]]
_shared: list[tuple[Observations, float]] = []  # of a process that helps: what it looks at


def replay(
    observations: Observations,
    findings: Iterable[Finding],
    budget: float,
    tell: Callable[[int], None] = lambda _looked: None,
) -> dict[str, Raised]:
    """For each finding the first reading at which the watch, run on the readings up to then, raises it and keeps it.

    It is looked for at a grid of moments over the whole log, then by halving between the last at which it was not there
    and the next. `tell` hears after every few looks how many were made.
    """
    wanted = [f for f in findings if f.stands]
    moments = _moments(observations)
    if not wanted or not moments:
        return {}
    with _looking(observations, budget) as look:
        seen: dict[int, frozenset[str]] = {}

        def see(places: Iterable[int]) -> None:
            new = sorted(set(places) - set(seen))
            seen.update(zip(new, look(moments[p][0] for p in new), strict=True))
            tell(len(seen))

        last = len(moments) - 1
        see({round(last * k / GRID) for k in range(1, GRID + 1)})
        grid = sorted(seen)
        place_of = {job: place for place, (_, job) in enumerate(moments)}
        first = {f.id: min(place_of.get(f.jobs[0], 0), last) for f in wanted}
        between = {name: _bounds(name, first[name], grid, seen) for name in first}
        probed = {name: low + 1 for name, (low, _) in between.items()}  # a single unit is mostly plain at once
        while probed:
            see(probed.values())
            between = {n: _halved(n, *between[n], probed.get(n, -1), seen) for n in between}
            probed = {n: (low + high) // 2 for n, (low, high) in between.items() if high - low > 1}
    return {name: moments[high] for name, (_, high) in between.items()}


def _bounds(name: str, first: int, grid: list[int], seen: dict[int, frozenset[str]]) -> tuple[int, int]:
    """The last place of the grid at which it was not there, or the one before its first job, and the next."""
    absent = [place for place in grid if name not in seen[place]]
    low = max(absent[-1] if absent else -1, first - 1)
    high = next((place for place in grid if place > low), grid[-1])
    return min(low, high - 1), high


def _halved(name: str, low: int, high: int, middle: int, seen: dict[int, frozenset[str]]) -> tuple[int, int]:
    if not low < middle < high:
        return low, high
    return (low, middle) if name in seen[middle] else (middle, high)


def _moments(observations: Observations) -> list[Raised]:
    """The last reading of every job, in time order."""
    last = observations.rows.group_by("job").agg(pl.col("taken_at").max()).sort("taken_at", "job")
    return list(last.unique("taken_at", keep="last", maintain_order=True).select("taken_at", "job").rows())


def up_to(observations: Observations, moment: datetime) -> Observations:
    """What the watch would have looked at when the last reading was that of `moment`."""
    return replace(
        observations,
        rows=observations.rows.filter(pl.col("taken_at") <= moment),
        ticks=observations.ticks.filter(pl.col("taken_at") <= moment),
        events=observations.events.filter(pl.col("since") <= moment),
    )


def _raised(observations: Observations, budget: float, moment: datetime) -> frozenset[str]:
    return frozenset(f.id for f in find(up_to(observations, moment), budget) if f.stands)


def _start(observations: Observations, budget: float) -> None:
    _shared[:] = [(observations, budget)]


def _help(moment: datetime) -> frozenset[str]:
    observations, budget = _shared[0]
    return _raised(observations, budget, moment)


@contextmanager
def _looking(observations: Observations, budget: float) -> Iterator[Look]:
    """What looks at moments: this process alone, or several where there is enough to look at."""
    workers = min(4, cpu_count() or 1)
    if workers < 2 or observations.rows.height < FEWEST_TO_SHARE:
        yield lambda moments: [_raised(observations, budget, m) for m in moments]
        return
    context = get_context("spawn")
    with ProcessPoolExecutor(workers, context, initializer=_start, initargs=(observations, budget)) as pool:
        yield lambda moments: list(pool.map(_help, moments))
