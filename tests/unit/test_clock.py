"""Where positions are on a clock face, and leaf by leaf. Clock positions: common practice, no source."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.bench.go_no_go import begin
from qclog.domain.sheets.conditions import split_off
from qclog.domain.speech import readings
from qclog.web.clock import angles_of, is_clock


@pytest.mark.parametrize(
    ("positions", "angles"),
    [
        (("12", "3", "6", "9"), [(0,), (90,), (180,), (270,)]),
        (("12", "4", "8"), [(0,), (120,), (240,)]),
        (("12-6", "3-9"), [(0, 180), (90, 270)]),
        (("12-6 outer", "3-9 outer"), [(0, 180), (90, 270)]),
        (("0", "90", "180", "270"), [(0,), (90,), (180,), (270,)]),
        (("1", "2", "3"), [(), (), ()]),
        (("wheel side", "far side"), [(), ()]),
        ((), []),
    ],
)
def test_positions_on_a_face(positions: tuple[str, ...], angles: list[tuple[int, ...]]) -> None:
    assert [angles_of(p, positions) for p in positions] == angles
    assert is_clock(positions) == (bool(angles) and all(angles))


LEAVES = tuple(Fraction(n) for n in (2, 3, 4, 6, 8, 10, 12, 15, 20))


@given(gap=st.fractions(min_value=0, max_value=30), about=st.fractions(min_value=0, max_value=40))
def test_leaf_by_leaf_finds_the_same_bracket_as_trying_them_all(gap: Fraction, about: Fraction) -> None:
    ladder = begin(LEAVES)
    for _ in range(len(LEAVES) + 1):
        if ladder.found:
            break
        leaf = ladder.next_leaf(about)
        ladder = ladder.tried(leaf, goes=leaf <= gap)
    assert ladder.found
    said = readings.read(ladder.said, unit="thou", leaves=LEAVES)
    low = max((leaf for leaf in LEAVES if leaf <= gap), default=None)
    high = min((leaf for leaf in LEAVES if leaf > gap), default=None)
    assert said.high == high
    assert said.low == (Fraction(0) if low is None else low) or (low is None and said.low is None)


@pytest.mark.parametrize(
    ("text", "reading", "said"),
    [
        ("17/18 rotated cold", "17/18", ("rotated", "cold")),
        ("17/18, not rotated", "17/18", ("not_rotated",)),
        ("12.5 lbf in COLD", "12.5 lbf in", ("cold",)),
        ("12.5", "12.5", ()),
        ("cold", "cold", ()),
        ("15 goes 16 no warm not_rotated", "15 goes 16 no", ("warm", "not_rotated")),
        ("17/18 dry", "17/18 dry", ()),
    ],
)
def test_conditions_said_after_a_reading(text: str, reading: str, said: tuple[str, ...]) -> None:
    assert split_off(text, ("rotated|not_rotated", "warm|cold")) == (reading, said)
