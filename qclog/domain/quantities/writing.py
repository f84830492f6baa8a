"""Text as typed made even, and exact fractions written as decimals without float noise."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

MOST_DECIMALS = 12
SIGNIFICANT_DIGITS = 6

_TIDY = str.maketrans({
    "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2007": " ", "\t": " ",
    "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "﹣": "-", "－": "-", "＋": "+",
    "′": "'", "’": "'", "‘": "'", "ʹ": "'", "″": '"', "”": '"', "“": '"', "„": '"', "ʺ": '"',
    "μ": "µ", "⋅": "·", "•": "·", "∙": "·", "×": "*", "℃": "°C", "℉": "°F", "º": "°",
    "½": " 1⁄2", "¼": " 1⁄4", "¾": " 3⁄4", "⅛": " 1⁄8", "⅜": " 3⁄8", "⅝": " 5⁄8", "⅞": " 7⁄8", "∕": "/",
})  # fmt: skip
_SPACES = re.compile(r" {2,}")


def tidy(text: str) -> str:
    """`text` with one sign for each minus, quote, micro, middle dot and space, and no spaces at the ends.

    Leaves letters as they are. `½` becomes a space and `1⁄2`, with the fraction slash that a typed `/` isn't.
    """
    plain = text.translate(_TIDY).replace("''", '"').strip()
    return _SPACES.sub(" ", plain)


def exact_decimals(value: Fraction) -> int | None:
    """How many decimals write `value` exactly; None if none do."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest //= 2
        twos += 1
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    return max(twos, fives) if rest == 1 else None


@lru_cache(maxsize=256)
def _step_decimals(step: Fraction) -> int:
    decimals = exact_decimals(step)
    return min(6, decimals) if decimals is not None else 6


def write_number(value: Fraction, *, step: Fraction | None = None) -> str:
    """`value` as a decimal.

    With `step`, the decimals of the step, and one more where the value lies between steps (15.5 at step 1).
    Without, all of it if it ends within 12 decimals (0.016), else six significant digits (16.1417).
    """
    if step is not None:
        decimals = _step_decimals(step)
        if (value * 10**decimals).denominator == 1:
            return _fixed(value, decimals)
        finer = _fixed(value, decimals + 1)
        return finer[:-1].rstrip(".") if finer.endswith("0") else finer
    needed = exact_decimals(value)
    if needed is not None and needed <= MOST_DECIMALS:
        return _fixed(value, needed)
    return _strip(_fixed(value, _significant_decimals(value)))


def write_exactly(value: Fraction) -> str:
    """`value` as a decimal if that can be exact, else as a whole number and a fraction: "16 18/127"."""
    needed = exact_decimals(value)
    if needed is not None:
        return _fixed(value, needed)
    whole, left = divmod(abs(value), 1)
    return f"{'-' if value < 0 else ''}{whole} {left.numerator}/{left.denominator}"


def _significant_decimals(value: Fraction) -> int:
    size, decimals = abs(value), SIGNIFICANT_DIGITS
    while size >= 1 and decimals > 0:
        size /= 10
        decimals -= 1
    while size and size < Fraction(1, 10) and decimals < 3 * SIGNIFICANT_DIGITS:
        size *= 10
        decimals += 1
    return decimals


def _strip(text: str) -> str:
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _fixed(value: Fraction, decimals: int) -> str:
    """`value` rounded half away from zero to `decimals` places."""
    scaled = abs(value) * 10**decimals
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    digits = str(whole).rjust(decimals + 1, "0")
    text = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
    return f"-{text}" if value < 0 and whole else text
