"""Numbers in English words, spoken and understood: "two and a half", "point oh one six", "minus two"."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from qclog.domain.quantities.writing import write_number
from qclog.errors import ReadingError

_SMALL = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
]  # fmt: skip
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_DIGITS = {word: digit for digit, word in enumerate(_SMALL[:10])} | dict.fromkeys(
    ("oh", "o", "nought", "naught", "nil"), 0
)
_UNITS = {word: number for number, word in enumerate(_SMALL)} | {"nought": 0, "naught": 0, "nil": 0}
_TEN_WORDS = {word: 10 * number for number, word in enumerate(_TENS, start=2)} | {"fourty": 40}
_SCALES = {"thousand": 10**3, "million": 10**6, "billion": 10**9, "trillion": 10**12}
_SPOKEN_SCALES = [*sorted(((size, word) for word, size in _SCALES.items()), reverse=True), (100, "hundred")]
_PARTS = {
    "half": 2, "halves": 2, "third": 3, "thirds": 3, "quarter": 4, "quarters": 4, "fourths": 4, "eighth": 8,
    "eighths": 8, "sixteenth": 16, "sixteenths": 16, "tenth": 10, "tenths": 10, "hundredth": 100,
    "hundredths": 100,
    "thirtysecond": 32, "thirtyseconds": 32, "sixtyfourth": 64, "sixtyfourths": 64,
}  # fmt: skip
_PART_NAMES = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"}
_BROKEN = re.compile(r"\b(?:(thir|four|fif|six|seven|nine)|eight?)[- ](teen)\b", re.IGNORECASE)
_BROKEN_TENS = re.compile(r"\b(?:(twen|thir|for|fif|six|seven|nine)|eight?)[- ](ty)\b", re.IGNORECASE)
_BROKEN_PART = re.compile(r"\b(thirty|sixty)-(seconds?|fourths?)\b", re.IGNORECASE)
_TOKEN = re.compile(r"(?: *|(?<=[a-z])-)([a-z]+|[0-9]+(?:[.,][0-9]+)?(?![0-9.,/⁄]))(?![a-z])", re.IGNORECASE)
_TAIL = re.compile(r"^(.*?) and (a|one|three) (half|quarters?)$", re.IGNORECASE)
_OF_A = re.compile(r" *(?:of )?(?:an? )?", re.IGNORECASE)
_NUMBER_WORD = {*_DIGITS, *_UNITS, *_TEN_WORDS, *_SCALES, "hundred"}


class _Words:
    """The words of a spoken number, taken one at a time from the left."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def peek(self) -> str | None:
        match = _TOKEN.match(self.text, self.at)
        return match[1].lower() if match else None

    def take(self, *wanted: str) -> str | None:
        match = _TOKEN.match(self.text, self.at)
        if match is None or (wanted and match[1].lower() not in wanted):
            return None
        self.at = match.end()
        return match[1].lower()

    def skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def rest(self) -> str:
        return self.text[self.at :].strip(" -")


def understand(text: str) -> tuple[Fraction, str] | None:
    """The number that `text` (tidied, any case) begins with in words, and the unit words left over.

    Returns None if it does not begin with a number in words. Digits may stand for the whole part ("16 and a
    half"), and the half may come after the unit ("a thou and a half").

    Raises
    ------
    ReadingError : a number that may be heard two ways ("point sixteen", "three tenths").
    """
    signed = re.sub(r"^([+-]) ?(?=[a-z0-9])", lambda m: "minus " if m[1] == "-" else "plus ", text, flags=re.IGNORECASE)
    whole = _BROKEN.sub(lambda m: (m[1] or "eigh") + m[2], signed)
    whole = _BROKEN_TENS.sub(lambda m: (m[1] or "eigh") + m[2], whole)
    whole = _BROKEN_PART.sub(r"\1\2", whole)
    extra = Fraction(0)
    tail = _TAIL.match(whole)
    if tail and (before := _number(_Words(tail[1]), text)) is not None and before[1]:
        extra = {"a": 1, "one": 1, "three": 3}[tail[2].lower()] * Fraction(1, _PARTS[tail[3].lower()])
        whole = tail[1]
    found = _number(_Words(whole), text)
    if found is None:
        return None
    value, rest, sign = found
    return sign * (value + extra), rest


def _number(words: _Words, text: str) -> tuple[Fraction, str, int] | None:
    """The value, the words left over and the sign."""
    sign = -1 if words.take("minus", "negative") else 1
    if sign == 1:
        words.take("plus", "positive")
    value = _size(words, text)
    if value is None:
        return None
    if words.peek() in _NUMBER_WORD or (words.peek() or " ")[0].isdigit():
        raise _unheard(text, "two numbers one after the other; say fifteen goes sixteen no, or point oh one six")
    return value, words.rest(), sign


def _size(words: _Words, text: str) -> Fraction | None:
    if words.peek() in ("point", "decimal"):
        return _decimals(words, text)
    value = _one(words)
    if value is not None:
        return value if words.peek() not in _PARTS else _part(words, value, text)
    value = Fraction(1) if words.peek() in ("half", "quarter") else _whole(words)
    if value is None or words.peek() in _PARTS:
        return None if value is None else _part(words, value, text)
    if words.peek() in ("point", "decimal"):
        return value + _decimals(words, text)
    if words.take("and"):
        top = Fraction(1) if words.take("a", "an") else _whole(words)
        if top is None or words.peek() not in _PARTS:
            raise _unheard(text, "say for example two and a half thou")
        value += _part(words, top, text)
    return value


def _one(words: _Words) -> Fraction | None:
    """1 for the "a" of "a thou" or "a quarter", 100 for "a hundred"; None for another beginning."""
    mark = words.at
    if not words.take("a", "an"):
        return None
    if words.take("hundred"):
        return Fraction(100)
    if not words.rest().strip(" ,;"):
        words.at = mark
        return None
    return Fraction(1)


def _part(words: _Words, top: Fraction, text: str) -> Fraction:
    name = words.take() or ""
    if name in ("tenth", "tenths") and not re.match(r"of an? [a-z]", words.rest(), re.IGNORECASE):
        raise _unheard(text, "a tenth may be of a thou, of a millimetre or of an inch; say nought point three thou")
    words.skip(_OF_A)
    return top / _PARTS[name]


def _decimals(words: _Words, text: str) -> Fraction:
    words.take()
    digits = ""
    while (word := words.peek()) in _DIGITS:
        digits += str(_DIGITS[words.take() or word])
    if not digits or words.peek() in _NUMBER_WORD:
        raise _unheard(text, "say each figure after the point: point oh one six")
    return Fraction(int(digits), 10 ** len(digits))


def _whole(words: _Words) -> Fraction | None:
    word = words.peek()
    if word is None:
        return None
    if word[0].isdigit():
        words.take()
        return Fraction(word.replace(",", "."))
    if _UNITS.get(word) == 0:
        words.take()
        return Fraction(0)
    group = _below_thousand(words)
    if group is None:
        return None
    total, last = 0, 10**15
    while (scale := _SCALES.get(words.peek() or "", last)) < last:
        words.take()
        total, last = total + group * scale, scale
        group = _joined(words, _below_thousand)
    return Fraction(total + group)


def _below_thousand(words: _Words) -> int | None:
    number = _below_hundred(words)
    if number is not None and 0 < number < 10 and words.take("hundred"):
        return 100 * number + _joined(words, _below_hundred)
    return number


def _joined(words: _Words, read: Callable[[_Words], int | None]) -> int:
    """What follows a hundred or a thousand, with or without "and"; 0 if that is no number but a half."""
    mark = words.at
    words.take("and")
    number = read(words)
    if number is None or words.peek() in _PARTS:
        words.at = mark
        return 0
    return number


def _below_hundred(words: _Words) -> int | None:
    tens = _TEN_WORDS.get(words.peek() or "")
    if tens is None:
        ones = _UNITS.get(words.peek() or "")
        if ones:
            words.take()
        return ones or None
    words.take()
    ones = _UNITS.get(words.peek() or "", 0)
    if 0 < ones < 10:
        words.take()
        return tens + ones
    return tens


def _unheard(text: str, hint: str) -> ReadingError:
    return ReadingError("this number can be heard in more than one way", field="reading", found=text, hint=hint)


def speak_number(value: Fraction, *, halves: bool = False) -> str:
    """`value` in words: "sixteen", "nought point four one", "minus two"; with `halves` "two and a half"."""
    if value < 0:
        return "minus " + speak_number(-value, halves=halves)
    whole, left = divmod(value, 1)
    if halves and left == Fraction(1, 2):
        return f"{_speak_whole(whole)} and a half" if whole else "half a"
    written, _, decimals = write_number(value).partition(".")
    if not decimals:
        return _speak_whole(int(written))
    start = "nought" if written == "0" else _speak_whole(int(written))
    return f"{start} point " + " ".join("oh" if digit == "0" else _SMALL[int(digit)] for digit in decimals)


def speak_rule_fraction(value: Fraction) -> tuple[str, bool] | None:
    """`value` as the graduations of a rule, halves to sixty-fourths: "one and fifteen sixteenths".

    Also whether it is less than one, so that "of an inch" follows and not "inches". None if no such fraction.
    """
    whole, left = divmod(abs(value), 1)
    if left.denominator not in _PART_NAMES:
        return None
    many = ("a" if whole else "") if left.denominator == 2 else _speak_whole(left.numerator)
    part = f"{many} {_PART_NAMES[left.denominator]}".strip() + ("s" if left.numerator > 1 else "")
    sign = "minus " if value < 0 else ""
    return (f"{sign}{_speak_whole(whole)} and {part}", False) if whole else (f"{sign}{part}", True)


def _speak_whole(number: int) -> str:
    if number < 20:
        return _SMALL[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f"-{_SMALL[ones]}" if ones else "")
    if number >= 10**15:
        return str(number)
    size, word = next((size, word) for size, word in _SPOKEN_SCALES if number >= size)
    many, left = divmod(number, size)
    joined = " and " if left < 100 else " "
    return f"{_speak_whole(many)} {word}" + (f"{joined}{_speak_whole(left)}" if left else "")
