"""A pack from the leaves there are: by measured size, exactly, with the fewest leaves.

Every sum that the drawer can make is worked out (dynamic programming over leaves; a set of sums is the bits of one
whole number, in steps of the largest size that goes into every leaf), so "can't be reached" is a fact and not a failed
search. Sizes are taken as the decimal fractions they were typed as, so no sum is rounded, in whatever unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, gcd, lcm, sqrt
from typing import Literal

from qclog.bench.answer import TRIAL, decimals_of, say
from qclog.bench.estimate import Estimate
from qclog.bench.gate import check_fields, checked
from qclog.errors import InputError

Side = Literal["thicker", "thinner"]
MOST_STEPS = 10_000_000
"""Of a pack: sizes with more decimals than that are finer than anyone measures, and too many sums to go through."""
MOST_BITS = 2_000_000_000
"""What all sums of all numbers of leaves may take, about 250 MB."""
LEAF_U = 0.2
"""Standard uncertainty of a leaf by micrometer, burr and oil counted, in thou; common practice, no source."""


def exact(value: float) -> Fraction:
    """The decimal fraction that a size was typed as: to twelve digits, so that a unit's conversion leaves no noise."""
    return Fraction(f"{value:.12g}")


def in_full(value: float) -> str:
    """A size with all the decimals it was typed with."""
    text = format(Decimal(f"{value:.12g}"), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


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
        check_fields(self)
        if self.size <= 0:
            raise InputError("a leaf has a size above 0", field="leaf", found=self.size)
        if self.count < 0:
            raise InputError("a drawer can't hold less than no leaves", field="count", found=self.count)
        if self.layer is not None and not 0 < self.layer <= self.size:
            raise InputError("a layer is thinner than its laminated shim", field="layer", found=self.layer)

    @property
    def thicknesses(self) -> tuple[float, ...]:
        """What one of them may be: its size, or what is left of it after peeling, at least one layer."""
        return tuple(float(t) for t in self.exact_thicknesses)

    @property
    def exact_thicknesses(self) -> tuple[Fraction, ...]:
        """The same as fractions."""
        size = exact(self.size)
        if self.layer is None:
            return (size,)
        layer = exact(self.layer)
        return tuple(size - i * layer for i in range(size // layer))


@dataclass(frozen=True, slots=True)
class Picked:
    """One leaf of a pack: which, and how thick it is there (less than its size: peeled to that)."""

    leaf: Leaf
    thickness: float

    @property
    def peeled(self) -> bool:
        """Whether layers come off."""
        return exact(self.thickness) < exact(self.leaf.size)

    def text(self) -> str:
        """What to take: the packet's size, or what to peel it to."""
        name = in_full(self.leaf.size if self.leaf.nominal is None else self.leaf.nominal)
        return f"{name} peeled to {in_full(self.thickness)}" if self.peeled else name


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
        measured = "+".join(in_full(p.thickness) for p in self.leaves)
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
        check_fields(self)
        if self.thickness < 0:
            raise InputError("a pack can't be less than nothing", field="wanted", found=self.thickness)
        if self.tolerance < 0:
            raise InputError("a tolerance is 0 or more", field="tolerance", found=self.tolerance)
        if self.least < 0 or (self.most is not None and self.most < self.least):
            raise InputError(
                "the number of leaves runs from least to most", field="leaves", found=f"{self.least} to {self.most}"
            )


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
        return min(both, key=lambda p: abs(off(p, self.want)), default=None)

    def sentence(self, unit: str = "thou") -> str:
        """What to fit, or how near the drawer comes."""
        near = [(side, pack) for side, pack in (("below", self.below), ("above", self.above)) if pack is not None]
        shown = [self.want.thickness, self.want.tolerance]
        shown += [leaf.thickness for pack in (self.best, self.below, self.above) if pack for leaf in pack.leaves]
        finer = max(0, max(map(_decimals, shown)) - decimals_of(unit))

        def told(value: float | Fraction) -> str:
            return say(float(value), unit, finer=finer)

        if self.best is not None:
            missed = off(self.best, self.want)
            error = f", {told(missed)} off" if missed else ""
            return f"fit {self.best.text()} = {told(self.best.total)}{error}"
        nearest = "; ".join(
            f"nearest {side} {pack.text()} = {told(pack.total)} ({told(off(pack, self.want))})" for side, pack in near
        )
        within = f" within {told(self.want.tolerance)}"
        return f"{told(self.want.thickness)} can't be made{within} from this drawer; {nearest or 'nothing comes near'}"


_MOST_DECIMALS = 6


def _decimals(value: float) -> int:
    """How many decimals a size was typed with; none for one that was worked out."""
    exponent = Decimal(f"{value:.12g}").normalize().as_tuple().exponent
    decimals = max(0, -exponent) if isinstance(exponent, int) else 0
    return decimals if decimals <= _MOST_DECIMALS else 0


def off(pack: Pack, want: Want) -> Fraction:
    """How far a pack is from what is wanted, above 0 where it is thicker: exactly, as the sizes were typed."""
    return sum((exact(p.thickness) for p in pack.leaves), Fraction(0)) - exact(want.thickness)


@checked
def choose_pack(drawer: Sequence[Leaf], want: Want) -> Choice:
    """The best pack for `want`, and the nearest either side of it.

    InputError for a drawer that can't give one, and for more leaves or decimals than can be gone through.
    """
    check_drawer(drawer, want.least)
    sums = _Sums(drawer, want)
    wanted, tolerance = exact(want.thickness) / sums.step, exact(want.tolerance) / sums.step
    low, high = ceil(wanted - tolerance), floor(wanted + tolerance)
    counts = range(want.least, sums.most + 1)
    best = None
    for leaves in counts:
        near = (sums.not_above(leaves, wanted), sums.not_below(leaves, wanted))
        inside = [s for s in near if s is not None and low <= s <= high]
        if inside:
            best = sums.pack(min(inside, key=lambda s: (abs(s - wanted), _wrong_side(s, wanted, want.safer))), leaves)
            break
    unders = [(s, -n) for n in counts if (s := sums.not_above(n, wanted)) is not None]
    overs = [(s, n) for n in counts if (s := sums.not_below(n, wanted)) is not None]
    below = sums.pack(max(unders)[0], -max(unders)[1]) if unders else None
    above = sums.pack(*min(overs)) if overs else None
    return Choice(want, best, below, above, cautions_for(best, drawer, want))


def _wrong_side(total: int, wanted: Fraction, safer: Side | None) -> bool:
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
        said.append(f"Every leaf is thicker than wanted: the thinnest is {in_full(thinnest)}.")
    if best is not None and len(best.leaves) > 5:
        said.append("Many leaves make a springy pack: mic it whole, with the oil pressed out.")
    if best is not None and any(p.peeled for p in best.leaves):
        said.append("Peeled stock runs thick or thin by a tenth of each layer and its glue: mic what is left.")
    return tuple(said)


@dataclass(frozen=True, slots=True)
class _Item:
    """So many leaves of one size that a pack has all or none of, and the steps that one of them may be thick."""

    leaf: Leaf
    count: int
    steps: tuple[int, ...]


class _Sums:
    """Every sum of leaves up to what is needed, by number of leaves, in steps of `step`."""

    def __init__(self, drawer: Sequence[Leaf], want: Want) -> None:
        # A size that there is little of comes last, and the way back avoids what comes last.
        stock = sorted((leaf for leaf in drawer if leaf.count), key=lambda leaf: (-leaf.count, -leaf.size))
        self.step, steps = _common_step([leaf.exact_thicknesses for leaf in stock])
        thin = sorted((min(mine), leaf.count) for leaf, mine in zip(stock, steps, strict=True))
        thick = max(max(mine) for mine in steps)
        # No pack above needs to be looked for further than one thickest leaf beyond: swapping single leaves gets there.
        reach = max(ceil(exact(want.thickness) / self.step) + thick, _thinnest(thin, want.least))
        count = sum(leaf.count for leaf in stock)
        self.most = min(_fitting(thin, reach), count if want.most is None else want.most)
        self.items = [
            _Item(leaf, n, mine)
            for leaf, mine in zip(stock, steps, strict=True)
            for n in _bundles(min(leaf.count, self.most), alike=len(mine) == 1)
        ]
        _check_size(reach, len(self.items) * (self.most + 1), want)
        mask = (1 << (reach + 1)) - 1
        self.after: list[list[int]] = [[1] + [0] * self.most]
        for item in self.items:
            before = self.after[-1]
            now = list(before)
            for thickness in item.steps:
                shift = thickness * item.count
                for n in range(self.most - item.count + 1):
                    if before[n]:
                        now[n + item.count] |= (before[n] << shift) & mask
            self.after.append(now)

    def not_above(self, leaves: int, wanted: Fraction) -> int | None:
        """The largest sum of so many leaves that is not above."""
        under = self.after[-1][leaves] & ((1 << (floor(wanted) + 1)) - 1)
        return under.bit_length() - 1 if under else None

    def not_below(self, leaves: int, wanted: Fraction) -> int | None:
        """The smallest sum of so many leaves that is not below."""
        start = ceil(wanted)
        over = self.after[-1][leaves] >> start
        return start + (over & -over).bit_length() - 1 if over else None

    def pack(self, total: int, leaves: int) -> Pack:
        """A pack with that sum and number of leaves."""
        picked = []
        left, count = total, leaves
        for i in range(len(self.items) - 1, -1, -1):
            if self.after[i][count] >> left & 1:
                continue
            before, item = self.after[i], self.items[i]
            for thickness in item.steps:
                rest = left - thickness * item.count
                if rest >= 0 and before[count - item.count] >> rest & 1:
                    picked += [Picked(item.leaf, float(thickness * self.step))] * item.count
                    left, count = rest, count - item.count
                    break
        return make_pack(picked)


def _common_step(sizes: Sequence[Sequence[Fraction]]) -> tuple[Fraction, list[tuple[int, ...]]]:
    """The largest size that goes into all of them, and how often it goes into each."""
    whole = lcm(*(size.denominator for mine in sizes for size in mine))
    parts = [[int(size * whole) for size in mine] for mine in sizes]
    step = gcd(*(part for mine in parts for part in mine))
    return Fraction(step, whole), [tuple(part // step for part in mine) for mine in parts]


def _thinnest(thin: Sequence[tuple[int, int]], leaves: int) -> int:
    """The least that so many leaves amount to; `thin` are thicknesses in order, and how many there are of each."""
    total = 0
    for thickness, count in thin:
        taken = min(count, leaves)
        total, leaves = total + taken * thickness, leaves - taken
    return total


def _fitting(thin: Sequence[tuple[int, int]], reach: int) -> int:
    """The most leaves that amount to no more than `reach`."""
    leaves = 0
    for thickness, count in thin:
        taken = min(count, reach // thickness)
        leaves, reach = leaves + taken, reach - taken * thickness
    return leaves


def _bundles(count: int, *, alike: bool) -> Iterable[int]:
    """Bundles of which any number of leaves up to `count` can be made; one by one where each may be peeled alone."""
    if not alike:
        return [1] * count
    bundles, size = [], 1
    while count > 0:
        bundles.append(min(size, count))
        count -= bundles[-1]
        size *= 2
    return bundles


def _check_size(reach: int, rows: int, want: Want) -> None:
    if reach > MOST_STEPS:
        raise InputError(
            "the leaves' sizes have too many decimals to go through all packs",
            field="leaves",
            found=f"{reach:,} steps to {in_full(want.thickness)}",
            hint="give sizes with fewer decimals, as they were measured",
        )
    if rows * reach > MOST_BITS:
        raise InputError(
            "there are too many leaves to go through all packs",
            field="leaves",
            found=f"up to {rows:,} numbers of leaves and sizes",
            hint="say the most leaves that a pack may have",
        )


def make_pack(picked: Sequence[Picked]) -> Pack:
    """A pack of these leaves, the thickest first."""
    ordered = sorted(picked, key=lambda p: -p.thickness)
    return Pack(tuple(ordered), float(sum((exact(p.thickness) for p in ordered), Fraction(0))))


@checked
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
