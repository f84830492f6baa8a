"""Run tests: patterns in a series that an unchanged process seldom shows.

The eight of Nelson 1984 (Journal of Quality Technology 16(4), 237-239) and the four of the Western Electric
Statistical Quality Control Handbook (1956), under plain names. They are an aid to the eye: `run_length`
tells how often a set of them cries wolf.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Bools, Floats, read_number, read_starts, read_values

Kind = Literal["beyond, one side", "within", "beyond, either side", "steady", "zigzag"]


@dataclass(frozen=True, slots=True)
class RunTest:
    """A pattern: `count` of the last `window` points lie `kind` a line `distance` spreads from the centre."""

    name: str
    description: str
    kind: Kind
    count: int
    window: int
    distance: float = 0.0


BEYOND_LIMIT = RunTest("beyond_limit", "one point beyond three spreads", "beyond, one side", 1, 1, 3.0)
EIGHT_ONE_SIDE = RunTest("eight_one_side", "eight in a row on one side", "beyond, one side", 8, 8)
NINE_ONE_SIDE = RunTest("nine_one_side", "nine in a row on one side", "beyond, one side", 9, 9)
SIX_STEADY = RunTest("six_steady", "six in a row steadily rising or falling", "steady", 6, 6)
FOURTEEN_ZIGZAG = RunTest("fourteen_zigzag", "fourteen in a row up and down in turn", "zigzag", 14, 14)
TWO_OF_THREE_FAR = RunTest(
    "two_of_three_far", "two of three beyond two spreads on one side", "beyond, one side", 2, 3, 2.0
)
FOUR_OF_FIVE_OUT = RunTest(
    "four_of_five_out", "four of five beyond one spread on one side", "beyond, one side", 4, 5, 1.0
)
FIFTEEN_CLOSE = RunTest("fifteen_close", "fifteen in a row within one spread of the centre", "within", 15, 15, 1.0)
EIGHT_APART = RunTest(
    "eight_apart", "eight in a row more than one spread from the centre", "beyond, either side", 8, 8, 1.0
)

#: The eight of Nelson 1984, in his order.
NELSON_1984 = (
    BEYOND_LIMIT,
    NINE_ONE_SIDE,
    SIX_STEADY,
    FOURTEEN_ZIGZAG,
    TWO_OF_THREE_FAR,
    FOUR_OF_FIVE_OUT,
    FIFTEEN_CLOSE,
    EIGHT_APART,
)
#: The four of the 1956 handbook, in its order.
WESTERN_ELECTRIC_1956 = (BEYOND_LIMIT, TWO_OF_THREE_FAR, FOUR_OF_FIVE_OUT, EIGHT_ONE_SIDE)
ALL = {t.name: t for t in (*NELSON_1984, EIGHT_ONE_SIDE)}


@dataclass(frozen=True, slots=True)
class Signal:
    """One pattern found: it reaches from place `first` to `last` (from 0) and was complete at `at`.

    `side` is "high", "low", or "" where the pattern has none.
    """

    test: str
    description: str
    first: int
    at: int
    last: int
    side: str


@checked
def choose_tests(tests: Iterable[RunTest | str]) -> tuple[RunTest, ...]:
    """Tests by name or as they are.

    Raises
    ------
    StatisticsError : an unknown name, or no test at all.
    """
    chosen = []
    for test in tests:
        if isinstance(test, RunTest):
            chosen.append(test)
        elif test in ALL:
            chosen.append(ALL[test])
        else:
            raise StatisticsError(
                "unknown run test", field="tests", found=test, hint="one of " + ", ".join(sorted(ALL))
            )
    if not chosen:
        raise StatisticsError("no run test chosen", field="tests", hint="one of " + ", ".join(sorted(ALL)))
    return tuple(chosen)


@checked
def find(
    values: npt.ArrayLike,
    centre: float,
    sigma: float,
    tests: Iterable[RunTest | str] = NELSON_1984,
) -> tuple[Signal, ...]:
    """Find every place where a pattern shows; overlapping finds of one pattern on one side are one signal.

    Parameters
    ----------
    values : one-dimensional, in time order, any unit.
    centre, sigma : same unit; `sigma` above 0.
    tests : run tests or their names.

    Returns
    -------
    tuple of Signal, by place, then by test. A point exactly on a line is not beyond it; equal neighbours
    break a steady run and a zigzag; a point on the centre line breaks a run on one side.

    Raises
    ------
    StatisticsError : see `series.read_values`; `sigma` of 0 or less; unknown test.
    """
    array = read_values(values, minimum=0)
    chosen = choose_tests(tests)
    centre = read_number(centre, "centre")
    sigma = read_number(sigma, "sigma", above=0)
    z = (array - centre) / sigma
    starts = np.zeros(1, dtype=np.intp)
    found: list[Signal] = []
    for test in chosen:
        for side, marks in mark_sides(z, starts, test):
            found.extend(_signals(test, side, marks))
    return tuple(sorted(found, key=lambda s: (s.at, s.first)))


@checked
def mark(
    standardised: npt.ArrayLike,
    tests: Iterable[RunTest | str] = NELSON_1984,
    *,
    starts: Sequence[int] | npt.NDArray[np.intp] | None = None,
) -> dict[str, Bools]:
    """Mark the points at which each pattern is complete, for one series or many laid end to end.

    Parameters
    ----------
    standardised : one-dimensional, (reading - centre) / spread, unit free. NaN (a series without spread) is
        allowed here and marks nothing.
    tests : run tests or their names.
    starts : where each series begins; no pattern reaches across. None means one series.

    Returns
    -------
    dict of test name to an array of bool as long as `standardised`.
    """
    z = _read_standardised(standardised)
    begin = np.zeros(1, dtype=np.intp) if starts is None else read_starts(starts, z.size)
    result: dict[str, Bools] = {}
    for test in choose_tests(tests):
        sides = [marks for _, marks in mark_sides(z, begin, test)]
        result[test.name] = sides[0] if len(sides) == 1 else sides[0] | sides[1]
    return result


def _read_standardised(values: npt.ArrayLike) -> Floats:
    """As `series.read_values`, but a series without spread may stand as NaN or infinite."""
    try:
        z = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise StatisticsError("standardised values must be numbers", field="standardised") from error
    if z.ndim != 1:
        raise StatisticsError(
            "standardised values must be one list", field="standardised", found=f"{z.ndim} dimensions"
        )
    return z


def mark_sides(z: Floats, starts: npt.NDArray[np.intp], test: RunTest) -> list[tuple[str, Bools]]:
    """The marks of one test, side by side; `starts` as in `mark`."""
    d = test.distance
    if test.kind == "beyond, one side":
        return [
            ("high", _at_least(z > d, test.count, test.window, starts)),
            ("low", _at_least(z < -d, test.count, test.window, starts)),
        ]
    if test.kind == "within":
        return [("", _at_least(np.abs(z) < d, test.count, test.window, starts))]
    if test.kind == "beyond, either side":
        return [("", _at_least(np.abs(z) > d, test.count, test.window, starts))]
    rising, falling = np.zeros(z.size, dtype=bool), np.zeros(z.size, dtype=bool)
    np.greater(z[1:], z[:-1], out=rising[1:])
    np.less(z[1:], z[:-1], out=falling[1:])
    inside = starts[starts < z.size]
    rising[inside] = falling[inside] = False
    steps = test.count - 1
    if test.kind == "steady":
        return [("high", _in_a_row(rising, steps, starts)), ("low", _in_a_row(falling, steps, starts))]
    turns = np.zeros(z.size, dtype=bool)
    turns[1:] = (rising[1:] & falling[:-1]) | (falling[1:] & rising[:-1])
    return [("", _in_a_row(turns, steps - 1, starts))]


def _in_a_row(marks: Bools, count: int, starts: npt.NDArray[np.intp]) -> Bools:
    """Where the last `count` marks are all set, by doubling the span, without reaching across `starts`."""
    result, span = marks, 1
    while span < count:
        step = min(span, count - span)
        longer = np.zeros_like(result)
        np.logical_and(result[step:], result[:-step], out=longer[step:])
        result, span = longer, span + step
    if count > 1 and starts.size > 1:
        if result is marks:
            result = marks.copy()
        early = (starts[:, None] + np.arange(count - 1)).ravel()
        limit = np.repeat(np.append(starts[1:], marks.size), count - 1)
        result[early[early < limit]] = False
    return result


def _at_least(marks: Bools, count: int, window: int, starts: npt.NDArray[np.intp]) -> Bools:
    """Where a marked point has `count` marks among the last `window`, itself included."""
    if count == window:
        return _in_a_row(marks, count, starts)
    small = marks.view(np.int8)
    total = small.copy()
    for back in range(1, window):
        total[back:] += small[:-back]
    ends = np.append(starts[1:], marks.size)
    # Near the start of each later series, count again from that start only.
    running = np.zeros(starts.size, dtype=np.int8)
    for place in range(window - 1 if starts.size > 1 else 0):
        live = starts + place < ends
        at = starts[live] + place
        running[live] += small[at]
        total[at] = running[live]
    return (total >= count) & marks


def _signals(test: RunTest, side: str, marks: Bools) -> list[Signal]:
    hits = np.flatnonzero(marks)
    if hits.size == 0:
        return []
    # Marks closer together than the window share points, so they tell of one and the same run.
    breaks = np.flatnonzero(np.diff(hits) > (1 if test.count == test.window else test.window - 1))
    firsts = hits[np.append(0, breaks + 1)]
    lasts = hits[np.append(breaks, hits.size - 1)]
    return [
        Signal(test.name, test.description, max(0, int(at) - test.window + 1), int(at), int(last), side)
        for at, last in zip(firsts, lasts, strict=True)
    ]
