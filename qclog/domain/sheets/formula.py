"""The arithmetic of derived characteristics: read, checked for dimensions, and worked out. No `eval`.

    recess      = "trial_pack - mean(stand_off)"
    closure     = "recess.final - recess.trial"
    pinch       = "stand_off - 0.89 * gasket"
    headroom    = "stand_off - 12 thou"
    high_spot   = "stand_off@12 - stand_off@6"

A name is a characteristic; `.final` picks a stage, `@12` a position, backquotes hold a code with odd letters.
A name measured at several positions stands for their mean unless a function takes it. Functions of positions:
mean, max, min, spread, tilt, saddle; of any expression: abs. A number may carry a unit.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from qclog.domain.quantities import units
from qclog.domain.sheets import positions
from qclog.domain.sheets.ranges import Range, across
from qclog.errors import FormulaError, UnitError

ACROSS_POSITIONS: dict[str, tuple[Callable[[Sequence[Any]], Any], int]] = {
    "mean": (positions.mean_of, 1),
    "max": (positions.largest_of, 1),
    "min": (positions.smallest_of, 1),
    "spread": (positions.spread_of, 2),
    "tilt": (positions.tilt_of, 3),
    "saddle": (positions.saddle_of, 4),
}
MAX_LENGTH = 500
MAX_DEPTH = 50


@dataclass(frozen=True, slots=True)
class Name:
    """A characteristic, perhaps at one stage or one position."""

    code: str
    stage: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Number:
    """A number, perhaps with a unit."""

    value: float
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Across:
    """A function over the positions of one characteristic."""

    function: str
    name: Name


@dataclass(frozen=True, slots=True)
class Magnitude:
    """The absolute value of an expression."""

    inner: Node


@dataclass(frozen=True, slots=True)
class Negative:
    """The negative of an expression."""

    inner: Node


@dataclass(frozen=True, slots=True)
class Pair:
    """Two expressions joined by + - * or /."""

    sign: str
    left: Node
    right: Node


Node = Name | Number | Across | Magnitude | Negative | Pair

_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d*)?|\.\d+)|`(?P<quoted>[^`]+)`"
    r"|(?P<word>[A-Za-zµ°][A-Za-z0-9_µ°]*(?:·[A-Za-z]+)?)|(?P<mark>[-+*/().@]))"
)


def parse(text: str) -> Node:
    """The expression that `text` says. Raises FormulaError naming the place where it stops making sense."""
    if len(text) > MAX_LENGTH:
        raise FormulaError(f"a formula of {len(text)} letters is longer than {MAX_LENGTH}", field="formula")
    return _Parser(text).whole()


class _Parser:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[tuple[str, str, int]] = []
        at = 0
        while text[at:].strip():
            match = _TOKEN.match(text, at)
            if match is None or match.lastgroup is None:
                raise self._fail(f"cannot read {text[at:].strip()[:12]!r}")
            self.tokens.append((match.lastgroup, match[match.lastgroup], match.start(match.lastgroup)))
            at = match.end()
        self.next = 0
        self.depth = 0

    def _fail(self, why: str) -> FormulaError:
        return FormulaError(f"{why} in the formula {self.text!r}", field="formula")

    def _peek(self) -> tuple[str, str]:
        kind, text, _ = self.tokens[self.next] if self.next < len(self.tokens) else ("end", "", -1)
        return kind, text

    def _take(self) -> tuple[str, str]:
        token = self._peek()
        self.next += 1
        return token

    def _expect(self, mark: str) -> None:
        kind, text = self._take()
        if (kind, text) != ("mark", mark):
            raise self._fail(f"expected {mark!r}, found {text or 'the end'!r}")

    def whole(self) -> Node:
        if not self.tokens:
            raise self._fail("nothing to work out")
        node = self.sum()
        kind, text = self._peek()
        if kind != "end":
            raise self._fail(f"did not expect {text!r}")
        return node

    def sum(self) -> Node:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise self._fail("too many brackets")
        node = self.product()
        while self._peek() in (("mark", "+"), ("mark", "-")):
            node = Pair(self._take()[1], node, self.product())
        self.depth -= 1
        return node

    def product(self) -> Node:
        node = self.signed()
        while self._peek() in (("mark", "*"), ("mark", "/")):
            node = Pair(self._take()[1], node, self.signed())
        return node

    def signed(self) -> Node:
        minus = False
        while self._peek() in (("mark", "-"), ("mark", "+")):
            minus ^= self._take()[1] == "-"
        node = self.atom()
        return Negative(node) if minus else node

    def atom(self) -> Node:
        kind, text = self._take()
        if kind == "number":
            return Number(float(text), self._unit_after_number())
        if (kind, text) == ("mark", "("):
            node = self.sum()
            self._expect(")")
            return node
        if kind == "word" and self._peek() == ("mark", "("):
            return self._call(text)
        if kind in ("word", "quoted"):
            return self._name(text)
        raise self._fail(f"expected a name or a number, found {text or 'the end'!r}")

    def _unit_after_number(self) -> str | None:
        if self._peek()[0] != "word":
            return None
        text = self._take()[1]
        try:
            return units.parse_unit(text)
        except UnitError as error:
            raise self._fail(f"{text!r} after a number is not a unit") from error

    def _call(self, function: str) -> Node:
        self._expect("(")
        if function == "abs":
            inner = self.sum()
            self._expect(")")
            return Magnitude(inner)
        if function not in ACROSS_POSITIONS:
            known = ", ".join((*ACROSS_POSITIONS, "abs"))
            raise self._fail(f"{function!r} is not a function (there are: {known})")
        kind, text = self._take()
        if kind not in ("word", "quoted"):
            raise self._fail(f"{function} takes one characteristic")
        name = self._name(text)
        if name.position is not None:
            raise self._fail(f"{function} works over all positions, so it can't take one position")
        self._expect(")")
        return Across(function, name)

    def _name(self, code: str) -> Name:
        stage = position = None
        if self._peek() == ("mark", "."):
            self._take()
            kind, stage = self._take()
            if kind != "word":
                raise self._fail(f"expected a stage after {code}.")
        if self._peek() == ("mark", "@"):
            self._take()
            kind, position = self._take()
            if kind not in ("word", "quoted", "number"):
                raise self._fail(f"expected a position after {code}@")
        return Name(code, stage, position)


def names(node: Node) -> Iterator[Name]:
    """Every characteristic the expression uses, in order, with repeats."""
    match node:
        case Name():
            yield node
        case Across(name=name):
            yield name
        case Magnitude(inner=inner) | Negative(inner=inner):
            yield from names(inner)
        case Pair(left=left, right=right):
            yield from names(left)
            yield from names(right)


def dimensionality(node: Node, unit_of: Callable[[str], str]) -> units.Dimensionality:
    """The dimension of the result; FormulaError if lengths and torques and the like are mixed.

    `unit_of` gives the unit of a characteristic. A bare number may be added only to a pure number.
    """
    match node:
        case Number(unit=None):
            return ()
        case Number(unit=str(unit)):
            return units.dimensionality(unit)
        case Name(code=code) | Across(name=Name(code=code)):
            return units.dimensionality(unit_of(code))
        case Magnitude(inner=inner) | Negative(inner=inner):
            return dimensionality(inner, unit_of)
        case Pair(sign=sign, left=left, right=right):
            one, two = dimensionality(left, unit_of), dimensionality(right, unit_of)
            if sign in "*/":
                return _product(one, two, 1 if sign == "*" else -1)
            if one != two:
                joined = "adds" if sign == "+" else "subtracts"
                raise FormulaError(
                    f"{joined} {dimension_word(two)} {'to' if sign == '+' else 'from'} {dimension_word(one)}",
                    field="formula",
                    hint="give a number its unit, as in `stand_off - 12 thou`, and keep dimensions apart",
                )
            return one
    raise AssertionError(node)


def _product(one: units.Dimensionality, two: units.Dimensionality, sign: int) -> units.Dimensionality:
    powers = dict(one)
    for name, power in two:
        powers[name] = powers.get(name, Fraction(0)) + sign * power
    return tuple(sorted((name, power) for name, power in powers.items() if power))


def dimension_word(dimension: units.Dimensionality) -> str:
    """A dimension as a person would say it."""
    if not dimension:
        return "a pure number"
    return "a " + units.dimension_of(dimension)


def work_out(node: Node, values_of: Callable[[Name], Sequence[Any]], unit_of: Callable[[str], str]) -> Any:
    """The value of the expression in base (SI) units, from readings in the units of their characteristics.

    `values_of(name)` gives one entry for each position (a float, an array of one value per unit, a range of either,
    or a number with uncertainty). Missing readings are NaN and make the result NaN.
    """
    if isinstance(node, Pair):
        left = work_out(node.left, values_of, unit_of)
        return _JOIN[node.sign](left, work_out(node.right, values_of, unit_of))
    match node:
        case Number(value=value, unit=unit):
            result: Any = value if unit is None else value * to_base(unit)
        case Name():
            result = across_positions("mean", values_of(node)) * to_base(unit_of(node.code))
        case Across(function=function, name=name):
            result = across_positions(function, values_of(name)) * to_base(unit_of(name.code))
        case Magnitude(inner=inner):
            result = abs(work_out(inner, values_of, unit_of))
        case Negative(inner=inner):
            result = -work_out(inner, values_of, unit_of)
    return result


def across_positions(function: str, values: Sequence[Any]) -> Any:
    """One of ACROSS_POSITIONS of the values at the positions, which may be ranges."""
    return across(function, values) if isinstance(values[0], Range) else ACROSS_POSITIONS[function][0](values)


def _divide(one: Any, two: Any) -> Any:
    if isinstance(two, float | int):
        return one / two if two else float("nan")
    if positions.is_array(two):
        import numpy as np

        return one / np.where(two == 0, np.nan, two)
    return one / two


_JOIN: dict[str, Callable[[Any, Any], Any]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": _divide,
}


def to_base(unit: str) -> float:
    """What one of `unit` is in base (SI) units."""
    return units.base_factor(unit)
