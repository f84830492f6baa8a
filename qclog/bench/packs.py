"""A pack from the leaves there are: by measured size, exactly, with the fewest leaves.

Every sum that the drawer can make is worked out (dynamic programming over leaves; a set of sums is the bits of one
whole number, in steps of a thousandth), so "can't be reached" is a fact and not a failed search.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, isfinite, sqrt
from typing import Literal

from qclog.bench.answer import TRIAL, say
from qclog.bench.estimate import Estimate
from qclog.errors import InputError

Side = Literal["thicker", "thinner"]
GRID = 1000
"""Sizes count to a thousandth of their unit."""
MOST_LEAVES = 200
LEAF_U = 0.2
"""Standard uncertainty of a leaf by micrometer, burr and oil counted, in thou; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """Leaves of one size in the drawer.

    size : as measured. count : how many. nominal : what the packet says (None: the same).
    layer : for laminated stock, the thickness of a layer that peels off; None for solid.
    """

    size: float
    count: int = 1
    nominal: float | None = None
    layer: float | None = None

    def __post_init__(self) -> None:
        if not (isfinite(self.size) and self.size > 0):
            raise InputError("a leaf has a size above 0", field="leaf", found=self.size)
        if self.count < 0:
            raise InputError("a drawer can't hold less than no leaves", field="count", found=self.count)
        if self.layer is not None and not 0 < self.layer <= self.size:
            raise InputError("a layer is thinner than its laminated shim", field="layer", found=self.layer)

    @property
    def thicknesses(self) -> tuple[float, ...]:
        """What one of them may be: its size, or what is left of it after peeling, at least one layer."""
        if self.layer is None:
            return (self.size,)
        layers = floor(self.size / self.layer + 1e-9)
        return tuple(self.size - i * self.layer for i in range(layers) if self.size - i * self.layer > 1e-9)


@dataclass(frozen=True, slots=True)
class Picked:
    """One leaf of a pack: which, and how thick it is there (less than its size: peeled to that)."""

    leaf: Leaf
    thickness: float

    @property
    def peeled(self) -> bool:
        """Whether layers come off."""
        return self.thickness < self.leaf.size - 1e-9

    def text(self) -> str:
        """What to take: the packet's size, or what to peel it to."""
        name = say(self.leaf.size if self.leaf.nominal is None else self.leaf.nominal, finer=1)
        return f"{name} peeled to {say(self.thickness, finer=1)}" if self.peeled else name


@dataclass(frozen=True, slots=True)
class Pack:
    """Leaves together, the thickest first, and their measured total."""

    leaves: tuple[Picked, ...]
    total: float

    def u(self, leaf_u: float = LEAF_U) -> float:
        """Standard uncertainty of the total, for leaves measured one by one."""
        return leaf_u * sqrt(len(self.leaves))

    def estimate(self, leaf_u: float = LEAF_U) -> Estimate:
        """Total and uncertainty."""
        return Estimate(self.total, self.u(leaf_u))

    def text(self) -> str:
        """`20+10+5+3+3`; with measured sizes after it where they differ from the packets'."""
        if not self.leaves:
            return "no shim"
        named = "+".join(p.text() for p in self.leaves)
        differs = any(
            p.leaf.nominal is not None and p.leaf.nominal != p.leaf.size and not p.peeled for p in self.leaves
        )
        measured = "+".join(say(p.thickness, finer=1) for p in self.leaves)
        return f"{named} (measured {measured})" if differs else named


@dataclass(frozen=True, slots=True)
class Want:
    """A pack that is wanted, in the leaves' unit.

    tolerance : how far off is good enough. least, most : number of leaves. safer : the side to err on.
    """

    thickness: float
    tolerance: float = 0.5
    least: int = 0
    most: int | None = None
    safer: Side | None = None
    name: str = ""

    def __post_init__(self) -> None:
        if not isfinite(self.thickness) or self.thickness < 0:
            raise InputError("a pack can't be less than nothing", field="wanted", found=self.thickness)
        if not (isfinite(self.tolerance) and self.tolerance >= 0):
            raise InputError("a tolerance is 0 or more", field="tolerance", found=self.tolerance)
        if self.least < 0 or (self.most is not None and self.most < self.least):
            raise InputError(
                "the number of leaves runs from least to most", field="leaves", found=f"{self.least} to {self.most}"
            )
        if self.safer not in (None, "thicker", "thinner"):
            raise InputError("the safer side is thicker or thinner", field="safer", found=self.safer)


@dataclass(frozen=True, slots=True)
class Choice:
    """What the drawer can do for a want.

    best : the pack inside the tolerance with the fewest leaves (of those the nearest, then the safer side), or None.
    below, above : the nearest pack not more, and not less, than wanted; None where there is none.
    """

    want: Want
    best: Pack | None
    below: Pack | None
    above: Pack | None
    cautions: tuple[str, ...] = field(default=(TRIAL,))

    @property
    def reached(self) -> bool:
        """Whether a pack inside the tolerance can be made."""
        return self.best is not None

    @property
    def suggested(self) -> Pack | None:
        """The best pack; if none is inside the tolerance, the nearest on the safer side, else the nearest of all."""
        if self.best is not None:
            return self.best
        preferred = {"thicker": self.above, "thinner": self.below}.get(self.want.safer or "")
        if preferred is not None:
            return preferred
        both = [p for p in (self.below, self.above) if p is not None]
        return min(both, key=lambda p: abs(p.total - self.want.thickness), default=None)

    def sentence(self, unit: str = "thou") -> str:
        """What to fit, or how near the drawer comes."""
        wanted = say(self.want.thickness, unit)
        if self.best is not None:
            off = self.best.total - self.want.thickness
            error = f", {say(off, unit)} off" if abs(off) > 1e-9 else ""
            return f"fit {self.best.text()} = {say(self.best.total, unit)}{error}"
        near = [
            f"nearest {side} {pack.text()} = {say(pack.total, unit)} ({say(pack.total - self.want.thickness, unit)})"
            for side, pack in (("below", self.below), ("above", self.above))
            if pack is not None
        ]
        within = f" within {say(self.want.tolerance, unit)}"
        return f"{wanted} can't be made{within} from this drawer; " + ("; ".join(near) or "nothing comes near")


def choose_pack(drawer: Sequence[Leaf], want: Want) -> Choice:
    """The best pack for `want`, and the nearest either side of it. InputError for a drawer that can't give one."""
    check_drawer(drawer, want.least)
    sums = _Sums(drawer, want)
    most = sums.most
    exact = want.thickness * GRID
    low, high = ceil(exact - want.tolerance * GRID - 1e-6), floor(exact + want.tolerance * GRID + 1e-6)
    best = None
    for leaves in range(want.least, most + 1):
        inside = [
            s
            for s in (sums.not_above(leaves, exact), sums.not_below(leaves, exact))
            if s is not None and low <= s <= high
        ]
        if inside:
            best = sums.pack(
                min(inside, key=lambda s: (round(abs(s - exact), 6), _wrong_side(s, exact, want.safer))), leaves
            )
            break
    counts = range(want.least, most + 1)
    unders = [(s, -n) for n in counts if (s := sums.not_above(n, exact)) is not None]
    overs = [(s, n) for n in counts if (s := sums.not_below(n, exact)) is not None]
    below = sums.pack(max(unders)[0], -max(unders)[1]) if unders else None
    above = sums.pack(*min(overs)) if overs else None
    return Choice(want, best, below, above, cautions_for(best, drawer, want))


def _wrong_side(total: float, wanted: float, safer: Side | None) -> bool:
    return safer is not None and (total > wanted) != (safer == "thicker")


def check_drawer(drawer: Sequence[Leaf], least: int) -> None:
    """InputError for an empty drawer, or one with fewer leaves than are wanted."""
    count = sum(leaf.count for leaf in drawer)
    if count == 0:
        raise InputError(
            "the drawer is empty",
            field="stock",
            found="no leaf",
            hint="count it in with qclog stock add, or give leaves",
        )
    if count < least:
        raise InputError(f"a pack of {least} leaves or more is wanted", field="stock", found=f"{count} in the drawer")


def cautions_for(best: Pack | None, drawer: Sequence[Leaf], want: Want) -> tuple[str, ...]:
    """What to say with a choice."""
    said = [TRIAL]
    thinnest = min(t for leaf in drawer if leaf.count for t in leaf.thicknesses)
    if best is None and thinnest > want.thickness + want.tolerance:
        said.append(f"Every leaf is thicker than wanted: the thinnest is {say(thinnest, finer=1)}.")
    if best is not None and len(best.leaves) > 5:
        said.append("Many leaves make a springy pack: mic it whole, with the oil pressed out.")
    if best is not None and any(p.peeled for p in best.leaves):
        said.append("Peeled stock runs thick or thin by a tenth of each layer and its glue: mic what is left.")
    return tuple(said)


class _Sums:
    """Every sum of leaves up to what is needed, by number of leaves."""

    def __init__(self, drawer: Sequence[Leaf], want: Want) -> None:
        # A size that there is little of comes last, and the way back avoids what comes last.
        stock = sorted((leaf for leaf in drawer if leaf.count), key=lambda leaf: (-leaf.count, -leaf.size))
        thin = sorted(
            round(min(leaf.thicknesses) * GRID) for leaf in stock for _ in range(min(leaf.count, MOST_LEAVES))
        )
        thick = round(max(leaf.size for leaf in stock) * GRID)
        # No pack above needs to be looked for further than one thickest leaf beyond: swapping single leaves gets there.
        reach = max(ceil(want.thickness * GRID) + thick, sum(thin[: want.least]))
        fits = next((i for i, total in enumerate(_running(thin)) if total > reach), len(thin))
        self.most = min(fits, MOST_LEAVES, len(thin) if want.most is None else want.most)
        mask = (1 << (reach + 1)) - 1
        self.leaves = [leaf for leaf in stock for _ in range(min(leaf.count, self.most))]
        self.after: list[list[int]] = [[1] + [0] * self.most]
        for leaf in self.leaves:
            before = self.after[-1]
            now = list(before)
            for thickness in leaf.thicknesses:
                shift = round(thickness * GRID)
                for n in range(self.most):
                    if before[n]:
                        now[n + 1] |= (before[n] << shift) & mask
            self.after.append(now)

    def not_above(self, leaves: int, exact: float) -> int | None:
        """The largest sum of so many leaves that is not above."""
        if leaves > self.most:
            return None
        under = self.after[-1][leaves] & ((1 << (floor(exact + 1e-6) + 1)) - 1)
        return under.bit_length() - 1 if under else None

    def not_below(self, leaves: int, exact: float) -> int | None:
        """The smallest sum of so many leaves that is not below."""
        start = ceil(exact - 1e-6)
        over = self.after[-1][leaves] >> start
        return start + (over & -over).bit_length() - 1 if over else None

    def pack(self, total: int, leaves: int) -> Pack:
        """A pack with that sum and number of leaves."""
        picked = []
        left, count = total, leaves
        for i in range(len(self.leaves) - 1, -1, -1):
            if self.after[i][count] >> left & 1:
                continue
            before, leaf = self.after[i], self.leaves[i]
            for thickness in leaf.thicknesses:
                rest = left - round(thickness * GRID)
                if rest >= 0 and before[count - 1] >> rest & 1:
                    picked.append(Picked(leaf, thickness))
                    left, count = rest, count - 1
                    break
        return make_pack(picked)


def make_pack(picked: Sequence[Picked]) -> Pack:
    """A pack of these leaves, the thickest first."""
    ordered = sorted(picked, key=lambda p: -p.thickness)
    return Pack(tuple(ordered), round(sum(p.thickness for p in ordered), 9))


def _running(values: Sequence[int]) -> Iterator[int]:
    total = 0
    for value in values:
        total += value
        yield total


def parse_leaves(text: str) -> tuple[Leaf, ...]:
    """Leaves as typed: `20x4 10x4 5 3 2`: size, and how many after an x (default 1); `30/2` peels in layers of 2."""
    found = []
    for word in text.replace(",", " ").split():
        size, _, count = word.lower().replace("×", "x").partition("x")
        size, _, layer = size.partition("/")
        try:
            found.append(Leaf(float(size), int(count or 1), layer=float(layer) if layer else None))
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            raise InputError(
                "leaves are sizes with how many", field="leaves", found=word, hint="write 20x4 10x4 5 3 2"
            ) from error
    if not found:
        raise InputError("no leaves were given", field="leaves", hint="write 20x4 10x4 5 3 2")
    return tuple(found)
