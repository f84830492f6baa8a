"""Conditions said with a reading: `17/18 rotated cold`, where the sheet wants `rotated|not_rotated` and `warm|cold`."""

from __future__ import annotations

from collections.abc import Sequence


def choices_of(wanted: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The words of each condition that a sheet wants said: one of each group."""
    return tuple(tuple(group.split("|")) for group in wanted)


def asked_of(wanted: Sequence[str], states: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The choices a person is asked: those that the characteristic does not state itself."""
    return tuple(group for group in choices_of(wanted) if not set(group) & set(states))


def with_stated(given: Sequence[str], wanted: Sequence[str], states: Sequence[str]) -> tuple[str, ...]:
    """What was said, and what the characteristic states where nothing else of that choice was said."""
    said = [state for group in choices_of(wanted) for state in states if state in group and not set(group) & set(given)]
    return (*given, *said)


def contradiction(given: Sequence[str], wanted: Sequence[str], states: Sequence[str]) -> tuple[str, str] | None:
    """Two conditions that can't both be, the wrong one first: against what is stated, or both of one choice."""
    for group in choices_of(wanted):
        said = [word for word in given if word in group]
        stated = [state for state in states if state in group]
        against = [word for word in said if stated and word not in stated]
        if against:
            return against[0], stated[0]
        if len(set(said)) > 1:
            return said[1], said[0]
    return None


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
