"""Feeling a gap leaf by leaf: which leaf to try next, and what has been found (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from qclog.bench.gate import checked
from qclog.errors import InputError


@dataclass(frozen=True, slots=True)
class Ladder:
    """The leaves of a feeler, ascending, and what is known: `goes` the index of the largest that goes (-1: none yet),
    `stops` that of the smallest that does not (their number: none yet).
    """

    leaves: tuple[Fraction, ...]
    goes: int
    stops: int

    @property
    def found(self) -> bool:
        """Whether the gap is known as well as these leaves can tell it."""
        return self.stops - self.goes <= 1

    def next_leaf(self, about: Fraction) -> Fraction:
        """The leaf to try: the one nearest to `about` at first, then the neighbour of what is known."""
        untried_below, untried_above = self.goes == -1, self.stops == len(self.leaves)
        if untried_below and untried_above:
            return min(self.leaves, key=lambda leaf: (abs(leaf - about), leaf))
        return self.leaves[self.stops - 1 if untried_below else self.goes + 1]

    def tried(self, leaf: Fraction, *, goes: bool) -> Ladder:
        """What is known after a leaf was tried: what is smaller than one that goes, goes; the larger ones stop."""
        at = self.leaves.index(leaf)
        if goes:
            return replace(self, goes=max(self.goes, at), stops=max(self.stops, at + 1))
        return replace(self, stops=min(self.stops, at), goes=min(self.goes, at - 1))

    @property
    def said(self) -> str:
        """What a person would say of it: `15/16`, `no leaf enters`, `25 goes`. Only once it is found."""
        if self.goes == -1:
            return "no leaf enters"
        if self.stops == len(self.leaves):
            return f"{_plain(self.leaves[-1])} goes"
        return f"{_plain(self.leaves[self.goes])}/{_plain(self.leaves[self.stops])}"


@checked
def begin(leaves: tuple[Fraction, ...]) -> Ladder:
    """A ladder on which nothing was tried. InputError without leaves."""
    if not leaves:
        raise InputError("a ladder needs leaves", field="leaves", hint="say which leaves the feeler has")
    ordered = tuple(sorted(set(leaves)))
    return Ladder(ordered, -1, len(ordered))


def _plain(leaf: Fraction) -> str:
    return f"{float(leaf):.6g}"
