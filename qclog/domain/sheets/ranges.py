"""What a reading can be worth: from its lower end to its upper end, either of which may be open.

Ends are floats, or arrays of one value per unit. An open end is infinite; where nothing was read both are NaN. A range
whose ends are equal is a number, and sums of numbers are the same as without ranges.

The sums are those of interval arithmetic (Moore 1966, from memory): the result holds every value that the terms allow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from qclog.domain.sheets.positions import is_array, largest_of, mean_of, saddle_of, smallest_of, spread_of, tilt_of


@dataclass(frozen=True, slots=True, eq=False)
class Range:
    """From `low` to `high`, floats or arrays of the same shape."""

    low: Any
    high: Any

    def __add__(self, other: Any) -> Range:
        two = _range(other)
        return Range(self.low + two.low, self.high + two.high)

    def __sub__(self, other: Any) -> Range:
        return self + -_range(other)

    def __mul__(self, other: Any) -> Range:
        two = _range(other)
        ends = [_product(a, b) for a in (self.low, self.high) for b in (two.low, two.high)]
        return Range(_least(ends), _most(ends))

    def __truediv__(self, other: Any) -> Range:
        return self * _one_over(_range(other))

    def __neg__(self) -> Range:
        return Range(-self.high, -self.low)

    def __abs__(self) -> Range:
        return Range(_most([self.low, -self.high, 0.0 * _finite(self.low)]), _most([-self.low, self.high]))

    def __radd__(self, other: Any) -> Range:
        return _range(other) + self

    def __rsub__(self, other: Any) -> Range:
        return _range(other) - self

    def __rmul__(self, other: Any) -> Range:
        return _range(other) * self

    def __rtruediv__(self, other: Any) -> Range:
        return _range(other) / self


def across(function: str, values: Sequence[Range]) -> Range:
    """The mean, max, min, spread, tilt or saddle over positions, of which some may be open or not read (NaN)."""
    lows, highs = [v.low for v in values], [v.high for v in values]
    return _ACROSS[function](lows, highs)


def _mean(lows: list[Any], highs: list[Any]) -> Range:
    return Range(mean_of(lows), mean_of(highs))


def _largest(lows: list[Any], highs: list[Any]) -> Range:
    return Range(largest_of(lows), largest_of(highs))


def _smallest(lows: list[Any], highs: list[Any]) -> Range:
    return Range(smallest_of(lows), smallest_of(highs))


def _spread(lows: list[Any], highs: list[Any]) -> Range:
    missing = 0.0 * spread_of([_finite(v) for v in lows])  # NaN where fewer than two were read
    least = largest_of(lows) - smallest_of(highs)
    most = largest_of(highs) - smallest_of(lows)
    return Range(_most([least, 0.0 * _finite(least)]) + missing, most + missing)


def _tilt(lows: list[Any], highs: list[Any]) -> Range:
    return _if_closed(tilt_of, lows, highs, least=0.0)


def _saddle(lows: list[Any], highs: list[Any]) -> Range:
    return _if_closed(saddle_of, lows, highs, least=-math.inf if len(lows) == 4 else 0.0)


def _if_closed(shape: Callable[[Sequence[Any]], Any], lows: list[Any], highs: list[Any], *, least: float) -> Range:
    """A shape of points; where a position is open, or a bracket, nothing nearer than `least` is known of it."""
    width = sum(_finite(high) - _finite(low) for low, high in zip(lows, highs, strict=True))
    is_open = sum(1.0 * (abs(low) == math.inf) + (abs(high) == math.inf) for low, high in zip(lows, highs, strict=True))
    value = shape([(_finite(low) + _finite(high)) / 2 for low, high in zip(lows, highs, strict=True)])
    known = (width == 0) & (is_open == 0)
    return Range(_where(known, value, least + 0.0 * value), _where(known, value, math.inf + 0.0 * value))


_ACROSS: dict[str, Callable[[list[Any], list[Any]], Range]] = {
    "mean": _mean,
    "max": _largest,
    "min": _smallest,
    "spread": _spread,
    "tilt": _tilt,
    "saddle": _saddle,
}


def _range(value: Any) -> Range:
    return value if isinstance(value, Range) else Range(value, value)


def _one_over(two: Range) -> Range:
    """1 / two; everything where `two` may be 0 on either side of it, nothing (NaN) where it is 0."""
    holds_zero = (two.low <= 0) & (two.high >= 0)
    is_zero = (two.low == 0) & (two.high == 0)
    safe_low, safe_high = _where(holds_zero, 1.0, two.low), _where(holds_zero, 1.0, two.high)
    low = _where(holds_zero, -math.inf, 1 / safe_high)
    high = _where(holds_zero, math.inf, 1 / safe_low)
    return Range(_where(is_zero, math.nan, low), _where(is_zero, math.nan, high))


def _product(a: Any, b: Any) -> Any:
    """a b, with 0 times an open end 0."""
    infinite = (abs(a) == math.inf) | (abs(b) == math.inf)
    zero = (a == 0) | (b == 0)
    if is_array(a) or is_array(b):
        import numpy as np

        with np.errstate(invalid="ignore"):
            return np.where(infinite & zero, 0.0, a * b)
    return 0.0 if infinite and zero else a * b


def _finite(value: Any) -> Any:
    """The value with open ends taken as 0; NaN stays."""
    return _where(abs(value) == math.inf, 0.0, value)


def _where(condition: Any, yes: Any, no: Any) -> Any:
    if is_array(condition) or is_array(yes) or is_array(no):
        import numpy as np

        return np.where(condition, yes, no)
    return yes if condition else no


def _least(values: Sequence[Any]) -> Any:
    return _extreme(values, "minimum", min)


def _most(values: Sequence[Any]) -> Any:
    return _extreme(values, "maximum", max)


def _extreme(values: Sequence[Any], ufunc: str, builtin: Callable[[Sequence[Any]], Any]) -> Any:
    """The least or most of all; NaN if any is."""
    if any(is_array(v) for v in values):
        import numpy as np

        result = values[0]
        for value in values[1:]:
            result = getattr(np, ufunc)(result, value)
        return result
    return math.nan if any(math.isnan(v) for v in values) else builtin(values)
