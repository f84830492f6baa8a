"""Conditions said with a reading: `17/18 rotated cold`, where the sheet wants `rotated|not_rotated` and `warm|cold`."""

from __future__ import annotations

from collections.abc import Sequence


def choices_of(wanted: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The words of each condition that a sheet wants said: one of each group."""
    return tuple(tuple(group.split("|")) for group in wanted)


def split_off(text: str, wanted: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """(the reading, the conditions said after it); words that the sheet does not ask for stay with the reading.

    `not rotated` is as good as `not_rotated`; the longest word that fits is taken.
    """
    words = {choice.replace("_", " ").casefold(): choice for group in choices_of(wanted) for choice in group}
    rest, found = text.strip(), list[str]()
    while True:
        lower = rest.replace("_", " ").casefold()
        fits = [said for said in words if lower.endswith(" " + said)]
        if not fits:
            return rest, tuple(reversed(found))
        longest = max(fits, key=len)
        found.append(words[longest])
        rest = rest[: -len(longest)].rstrip(" ,;")
