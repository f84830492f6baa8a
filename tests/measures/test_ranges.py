"""Sums of ranges hold every value that their terms allow, and nothing is lost where the terms are numbers.

Checked by drawing points from the ranges and working the sum out with them (a second derivation), and against the
numbers of a worked example of interval arithmetic, [1, 2] - [3, 5] = [-4, -1] and [-1, 2] x [3, 4] = [-4, 8]
(textbook, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.domain.sheets import formula
from qclog.domain.sheets.ranges import Range, across

NUMBERS = st.floats(-50, 50, allow_nan=False).map(lambda v: round(v, 3))


@st.composite
def ranges(draw: st.DrawFn, *, may_miss: bool = False) -> Range:
    if may_miss and draw(st.integers(0, 5)) == 0:
        return Range(math.nan, math.nan)
    one, two = sorted((draw(NUMBERS), draw(NUMBERS)))
    kind = draw(st.sampled_from(["point", "bracket", "below", "above"]))
    return {
        "point": Range(one, one),
        "bracket": Range(one, two),
        "below": Range(-math.inf, two),
        "above": Range(one, math.inf),
    }[kind]


def point_in(worth: Range, share: float) -> float:
    if math.isnan(worth.low):
        return math.nan
    low = worth.low if math.isfinite(worth.low) else min(worth.high, 0.0) - 1e3
    high = worth.high if math.isfinite(worth.high) else max(worth.low, 0.0) + 1e3
    return float(low + share * (high - low))


FORMULAS = [
    "a - b",
    "a + b - 2 * c",
    "abs(a - b)",
    "a * b",
    "a / (abs(b) + 1)",
    "-(a - 0.89 * b)",
    "mean(p) - a",
    "max(p) - min(p)",
    "spread(p)",
    "tilt(p) + a",
    "saddle(p)",
    "max(p) * 2 - abs(min(p))",
]


@given(
    st.sampled_from(FORMULAS),
    st.lists(ranges(), min_size=3, max_size=3),
    st.lists(ranges(may_miss=True), min_size=4, max_size=4),
    st.lists(st.floats(0, 1), min_size=7, max_size=7),
)
def test_a_sum_holds_every_value_its_terms_allow(
    text: str, terms: list[Range], places: list[Range], shares: list[float]
) -> None:
    node = formula.parse(text)
    names = dict(zip("abc", terms, strict=True))
    worth = formula.work_out(node, lambda n: places if n.code == "p" else [names[n.code]], lambda _code: "1")
    points = {k: point_in(v, s) for (k, v), s in zip(names.items(), shares[:3], strict=True)}
    at_places = [point_in(v, s) for v, s in zip(places, shares[3:], strict=True)]
    value = formula.work_out(node, lambda n: at_places if n.code == "p" else [points[n.code]], lambda _code: "1")
    if math.isnan(value):
        assert math.isnan(worth.low)
        assert math.isnan(worth.high)
        return
    slack = 1e-9 * (1 + abs(value))
    assert worth.low - slack <= value <= worth.high + slack


@given(st.sampled_from(FORMULAS), st.lists(NUMBERS, min_size=3, max_size=3), st.lists(NUMBERS, min_size=4, max_size=4))
def test_a_sum_of_numbers_is_the_number(text: str, terms: list[float], places: list[float]) -> None:
    node = formula.parse(text)
    names = dict(zip("abc", terms, strict=True))
    value = formula.work_out(node, lambda n: places if n.code == "p" else [names[n.code]], lambda _code: "1")
    worth = formula.work_out(
        node,
        lambda n: [Range(v, v) for v in (places if n.code == "p" else [names[n.code]])],
        lambda _code: "1",
    )
    assert worth.low == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert worth.low == worth.high


@given(
    st.sampled_from(FORMULAS), st.lists(st.lists(ranges(may_miss=True), min_size=7, max_size=7), min_size=1, max_size=5)
)
def test_arrays_give_what_each_unit_alone_gives(text: str, units: list[list[Range]]) -> None:
    node = formula.parse(text)

    def work_out(values: Sequence[Range]) -> Range:
        found = formula.work_out(
            node, lambda n: list(values[3:]) if n.code == "p" else [values["abc".index(n.code)]], lambda _code: "1"
        )
        assert isinstance(found, Range)
        return found

    together = work_out(
        [Range(np.array([u[i].low for u in units]), np.array([u[i].high for u in units])) for i in range(7)]
    )
    for i, unit in enumerate(units):
        alone = work_out(unit)
        for one, other in ((alone.low, together.low[i]), (alone.high, together.high[i])):
            assert one == pytest.approx(other, rel=1e-12, abs=1e-12, nan_ok=True)


def test_worked_examples() -> None:
    assert _ends(Range(1, 2) - Range(3, 5)) == (-4, -1)
    assert _ends(Range(-1, 2) * Range(3, 4)) == (-4, 8)
    assert _ends(1 / Range(2, 4)) == (0.25, 0.5)
    assert _ends(1 / Range(-1, 1)) == (-math.inf, math.inf)
    assert _ends(abs(Range(-3, 2))) == (0, 3)
    assert _ends(Range(-math.inf, 4) * 0) == (0, 0)


def test_no_leaf_enters_is_at_most_the_smallest_leaf_wherever_it_stands() -> None:
    below = Range(-math.inf, 4.0)
    assert _ends(40 - below) == (36, math.inf)
    assert _ends(across("mean", [below, Range(12.5, 12.5)])) == (-math.inf, 8.25)
    assert _ends(across("max", [below, Range(12.5, 12.5)])) == (12.5, 12.5)
    assert _ends(across("max", [below, below])) == (-math.inf, 4)
    assert _ends(across("spread", [below, Range(12.5, 12.5)])) == (8.5, math.inf)


def _ends(worth: Range) -> tuple[float, float]:
    return float(worth.low), float(worth.high)
