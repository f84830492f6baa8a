"""Understanding what a bench says or types: "16", "0.41 mm", "15 goes 16 no", "not accessible"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from qclog.domain.quantities.units import convert, parse_unit, write
from qclog.domain.quantities.writing import tidy
from qclog.domain.speech.amounts import (
    SAY,
    Amount,
    is_of_an_inch,
    not_understood,
    read_amount,
    starts_with_mixed_number,
)
from qclog.domain.speech.doubts import Doubt, PlausibleRange, doubt
from qclog.domain.speech.said import Kind, Said, canonical, convert_said, read_back
from qclog.errors import ReadingError, UnitError

__all__ = [
    "Doubt",
    "Kind",
    "PlausibleRange",
    "Said",
    "canonical",
    "convert_said",
    "doubt",
    "read",
    "read_back",
]

LONGEST_TEXT = 400
LONGEST_REASON = 360
LONGEST_VALUE = 200

_PLAIN = re.compile(r"[+-]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
_NOT_TAKEN = re.compile(
    r"(not accessible|inaccessible|not reachable|no access|can'?t reach|cannot reach|not measured|not taken"
    r"|not applicable)\b([ :;,(.-]*)(?:because\b[ :;,(.-]*)*(.*)",
    re.IGNORECASE,
)
_SAME_REASON = {
    "inaccessible": "not accessible", "not reachable": "not accessible", "no access": "not accessible",
    "can't reach": "not accessible", "cant reach": "not accessible", "cannot reach": "not accessible",
    "not taken": "not measured",
}  # fmt: skip
_NO_LEAF = re.compile(
    r"(?:no|none of the|not one) (?:leaf|leaves|feelers?)(?: (?:enters?|goes|go|fits?))?(?: in)?"
    r"[ ,:;]*(?:\(? ?(?:<|under|below|less than|smallest(?: is)?)? ?([^()<>]+?) ?\)?)?",
    re.IGNORECASE,
)
_LARGEST_GOES = re.compile(
    r"(.+?) goes(?: in)?[ ,;]+(?:and )?(?:there is )?"
    r"(?:no (?:larger|bigger|thicker)|the (?:largest|biggest|thickest))(?: leaf| one)?",
    re.IGNORECASE,
)
_OPEN_END = re.compile(r"([<>]) ?([^<>=]+)")
_VERB = re.compile(
    r"(?:^|(?<=[ ,;/\"°.]))(?:"
    r"(?P<no>(?:does ?n'?t|does not|don'?t|do not|won'?t|will not)(?: go| enter| fit)?(?: in)?"
    r"|no[ -]?go|not|no)"
    r"|(?P<yes>goes in|goes|go|does|enters|fits|yes))(?![\w'])",
    re.IGNORECASE,
)
_FEEL = re.compile(r"(.+) (tight|loose)", re.IGNORECASE)
_PASS_WORDS = {
    "pass": "pass", "passed": "pass", "passes": "pass", "ok": "pass", "okay": "pass",
    "fail": "fail", "failed": "fail", "fails": "fail",
}  # fmt: skip
_SAYS_NOTHING = {"none", "n/a", "na", "-", "--", "?", "x", "nan", "inf", "infinity", "null", "blank"}


def read(
    text: str,
    *,
    unit: str,
    leaves: Sequence[Fraction] = (),
    categories: Sequence[str] = (),
    tight: int = 0,
) -> Said:
    """What `text` says, in the unit it was said in.

    Parameters
    ----------
    text : as typed or spoken; kept in the result as it is.
    unit : the characteristic's own unit, in which a bare number is.
    leaves : sizes of the feeler gauge's leaves in `unit`, if there is one; they close an open end.
    categories : words that are answers of their own, such as toe, central and heel.
    tight : the sign that "tight" has for this characteristic, 1 or -1; "loose" has the other; 0 refuses both.

    Raises
    ------
    ReadingError : blank (which is not zero), not understood, ambiguous (1,234), or go not below no-go.
    UnitError : an unknown unit, or one of another dimension than `unit`.
    """
    own = parse_unit(unit)
    if not isinstance(text, str):
        raise ReadingError("a reading is given as text", field="reading", found=text, hint=SAY)
    if not categories and _PLAIN.fullmatch(text):
        value = Fraction(text)
        return Said(text, "point", value, value, own)
    plain = _checked(text)
    worded = _read_word(text, plain, own, categories)
    if worded is not None:
        return worded
    if len(plain) > LONGEST_VALUE:
        raise not_understood(plain)
    open_end = _read_open_end(text, plain, own, leaves)
    if open_end is not None:
        return open_end
    pair = _read_goes(plain, own, leaves) or _read_slash(plain, own)
    if pair is not None:
        return _bracket(text, *pair)
    feel = _FEEL.fullmatch(plain)
    if feel:
        return _read_feel(text, feel, own, tight)
    amount = read_amount(plain, own)
    return Said(text, "point", amount.value, amount.value, amount.unit)


def _checked(text: str) -> str:
    stripped = text.strip()
    if len(stripped) > LONGEST_TEXT:
        raise ReadingError(f"longer than {LONGEST_TEXT} characters", field="reading", found=stripped[:40], hint=SAY)
    plain = tidy(stripped)
    if not plain:
        raise ReadingError(
            "nothing was given; blank is not zero",
            field="reading",
            hint="say 0 for zero, or not measured, not accessible or no leaf enters",
        )
    if not plain.isprintable():
        raise ReadingError("it has characters that can't be printed", field="reading", found=plain, hint=SAY)
    return plain


def _read_word(text: str, plain: str, own: str, categories: Sequence[str]) -> Said | None:
    """A category, pass or fail, or a reason why none was taken."""
    folded = plain.casefold().replace("_", " ")
    for category in categories:
        if folded == tidy(category).casefold().replace("_", " "):
            return Said(text, "word", None, None, own, word=category)
    if folded in _PASS_WORDS:
        return Said(text, "word", None, None, own, word=_PASS_WORDS[folded])
    not_taken = _NOT_TAKEN.fullmatch(plain)
    if not_taken:
        phrase = not_taken[1].lower()
        phrase = _SAME_REASON.get(phrase, phrase)
        detail = not_taken[3].removesuffix(")" if "(" in not_taken[2] else "").strip()
        if len(detail) > LONGEST_REASON:
            raise ReadingError(f"the reason is longer than {LONGEST_REASON} characters", field="reading")
        return Said(text, "none", None, None, own, reason=f"{phrase}: {detail}" if detail else phrase)
    if folded in _SAYS_NOTHING:
        raise ReadingError(
            "that may mean several things",
            field="reading",
            found=plain,
            hint="say 0, not measured, not accessible, not applicable or no leaf enters",
        )
    return None


def _read_open_end(text: str, plain: str, own: str, leaves: Sequence[Fraction]) -> Said | None:
    """No leaf enters, or the largest leaf goes."""
    no_leaf = _NO_LEAF.fullmatch(plain)
    if no_leaf and not no_leaf[1]:
        return Said(text, "below", None, min(leaves) if leaves else None, own)
    open_end = _OPEN_END.fullmatch(plain)
    if no_leaf or (open_end and open_end[1] == "<"):
        smallest = read_amount((no_leaf or open_end or [""])[1 if no_leaf else 2], own)
        return Said(text, "below", None, smallest.value, smallest.unit)
    largest = _LARGEST_GOES.fullmatch(plain)
    if largest or open_end:
        amount = read_amount(largest[1] if largest else open_end[2] if open_end else "", own)
        return Said(text, "above", amount.value, None, amount.unit)
    return None


def _read_goes(plain: str, own: str, leaves: Sequence[Fraction]) -> tuple[Amount, Amount | None] | None:
    """The leaf that goes and the one that doesn't, in either order, each verb before or after its leaf."""
    verbs = list(_VERB.finditer(plain))
    if not verbs:
        return None
    by_way = _leaf_of_each_verb(plain, verbs)
    if True not in by_way:
        raise ReadingError(
            "that leaf does not go, but which one does?",
            field="reading",
            found=plain,
            hint=f"say 15 goes 16 no, or no leaf enters (<{by_way[False]})",
        )
    amounts = {way: read_amount(what, own) for way, what in by_way.items()}
    named = next((amount.unit for amount in amounts.values() if amount.unit_said), own)
    amounts = {way: amount if amount.unit_said else amount._replace(unit=named) for way, amount in amounts.items()}
    go = amounts[True]
    if False in amounts:
        return go, amounts[False]
    reached = convert(go.value, go.unit, own)
    larger = [leaf for leaf in leaves if leaf > reached]
    if larger:
        raise ReadingError(
            f"the gauge has a larger leaf, {write(min(larger), own)}: does it go?",
            field="reading",
            found=plain,
            hint="say 15 goes 16 no, or 15 goes, no larger leaf",
        )
    return go, None


def _leaf_of_each_verb(plain: str, verbs: list[re.Match[str]]) -> dict[bool, str]:
    """The words that size the leaf, by whether it goes."""
    ends = [0, *(verb.end() for verb in verbs)]
    starts = [*(verb.start() for verb in verbs), len(plain)]
    sizes = [_without_joiners(plain[end:start]) for end, start in zip(ends, starts, strict=True)]
    ways = [verb["yes"] is not None for verb in verbs]
    if not sizes[0]:
        sizes = sizes[1:]
    elif len(verbs) == 2 and not sizes[1]:
        sizes = [sizes[0], sizes[2]]
    elif not sizes[-1]:
        sizes = sizes[:-1]
    if len(ways) > 2 or len(sizes) != len(ways) or len(set(ways)) != len(ways) or not all(sizes):
        raise not_understood(plain)
    return dict(zip(ways, sizes, strict=True))


def _without_joiners(part: str) -> str:
    part = part.strip(" ,;:/&").removeprefix("- ")
    return re.sub(r"^(?:and|but)(?: |$)|(?:^| )(?:and|but)$", "", part, flags=re.IGNORECASE).strip(" ,;:")


def _read_slash(plain: str, own: str) -> tuple[Amount, Amount] | None:
    """`15/16` as a bracket; None where the slash makes a fraction or belongs to a unit."""
    match = re.fullmatch(r"([+-]? ?[0-9.,][^/]*)/ ?([+-]? ?[0-9.,][^/]*(?:/[A-Za-z][^/]*)?)", plain)
    if match is None or starts_with_mixed_number(plain):
        return None
    no_go = read_amount(match[2], own)
    if no_go.unit == "in" and is_of_an_inch(plain):
        return None
    go = read_amount(match[1], own)
    return (go if go.unit_said else go._replace(unit=no_go.unit)), no_go


def _bracket(text: str, go: Amount, no_go: Amount | None) -> Said:
    if no_go is None:
        return Said(text, "above", go.value, None, go.unit)
    if go.unit != no_go.unit:
        raise UnitError(
            f"one leaf is in {go.unit} and the other in {no_go.unit}",
            field="reading",
            found=text,
            hint="give both in one unit",
        )
    small, large = write(no_go.value, no_go.unit), write(go.value, go.unit)
    if go.value >= no_go.value:
        raise ReadingError(
            f"{large} goes but {small} does not: the leaf that goes must be the smaller",
            field="reading",
            found=text,
            hint="check the two sizes" if go.value == no_go.value else f"did you mean {small} goes, {large} no?",
        )
    return Said(text, "bracket", go.value, no_go.value, go.unit)


def _read_feel(text: str, feel: re.Match[str], own: str, tight: int) -> Said:
    amount = read_amount(feel[1], own)
    if tight == 0 or amount.value < 0:
        raise ReadingError(
            f"'{feel[2]}' has no sign here",
            field="reading",
            found=text,
            hint="say plus or minus, or give the number alone",
        )
    value = amount.value * (tight if feel[2].lower() == "tight" else -tight)
    return Said(text, "point", value, value, amount.unit)
