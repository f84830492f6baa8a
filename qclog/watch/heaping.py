"""Digit preference: someone who reads mostly even (or odd) leaves of feelers that have both.

A feeler without odd leaves is left out before: its readings are even because of the set, not the hand. Source: the
trade's digit test against the leaf set; the exact binomial test of a share.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from qclog.stats.rounded.digits import judge_share

FEWEST = 30
ALPHA = 0.01
CLEAR_SHARE = 0.70
CLEAR_DIFFERENCE = 0.15
EVEN_HANDED = (0.25, 0.75)  # a characteristic that the others read nearly all even, or all odd, says nothing of a hand


@dataclass(frozen=True, slots=True)
class Heaping:
    """One technician's preference: the rows of `ticks` it covers, the share, and p after allowing for the search."""

    technician: str
    rows: pl.DataFrame
    even: bool
    share: float
    p: float
    first_enough: int


def find_heaping(ticks: pl.DataFrame) -> list[Heaping]:
    """Every technician whose readings prefer even or odd leaves, over all or from some eighth of them on.

    What is expected is the share that the others read on the same characteristics: a stand-off set to 16 is mostly
    even whoever reads it.
    """
    found = []
    people = ticks["technician"].unique().sort().to_list() if len(ticks) else []
    for name in people:
        mine = ticks.filter(pl.col("technician") == name)
        expected = _expected(ticks.filter(pl.col("technician") != name))
        mine = mine.join(expected, on=["case_type", "characteristic"], how="left", maintain_order="left")
        mine = mine.with_columns(pl.col("expected").fill_null(0.5)).filter(pl.col("expected").is_between(*EVEN_HANDED))
        candidates = [_judge(name, mine[start:], len(people)) for start in _starts(len(mine))]
        enough = [c for c in candidates if c is not None]
        if enough:
            found.append(min(enough, key=lambda h: h.p))
    return found


def _expected(others: pl.DataFrame) -> pl.DataFrame:
    """The share of even leaves among the others, drawn toward one half where they are few."""
    even = (pl.col("even").sum() + 5) / (pl.len() + 10)
    return others.group_by("case_type", "characteristic").agg(expected=even)


def _starts(n: int) -> list[int]:
    return [n * i // 8 for i in range(8) if n - n * i // 8 >= FEWEST]


def _judge(name: str, mine: pl.DataFrame, people: int) -> Heaping | None:
    n, even, expected = len(mine), int(mine["even"].sum()), float(mine["expected"].to_numpy().mean())
    side = even / n >= expected
    places = people * 8
    p = _chance(even, n, expected, side=side, places=places)
    share, usual = (even / n, expected) if side else (1 - even / n, 1 - expected)
    if p > ALPHA or share < CLEAR_SHARE or share - usual < CLEAR_DIFFERENCE:
        return None
    return Heaping(name, mine, side, (even if side else n - even) / n, p, _first_enough(mine, side, places))


def _chance(even: int, n: int, expected: float, *, side: bool, places: int) -> float:
    count, share = (even, expected) if side else (n - even, 1 - expected)
    return min(1.0, judge_share(count, n, expected_share=share).p_value * places)


def _first_enough(mine: pl.DataFrame, side: bool, places: int) -> int:
    even = mine["even"].cast(pl.Int64).cum_sum().to_list()
    expected = mine["expected"].cum_sum().to_list()
    for n in range(FEWEST, len(mine) + 1):
        count = even[n - 1] if side else n - even[n - 1]
        if count / n >= CLEAR_SHARE and _chance(even[n - 1], n, expected[n - 1] / n, side=side, places=places) <= ALPHA:
            return n - 1
    return len(mine) - 1
