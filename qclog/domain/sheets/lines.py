"""Which line of a TOML text a key stands on, since `tomllib` does not say."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
_BIT = re.compile(r"""[\w-]+|"[^"]*"|'[^']*'""")


class Lines:
    """The lines of the keys and tables of one TOML text."""

    def __init__(self, text: str) -> None:
        self._at: dict[tuple[str | int, ...], int] = {}
        counts: dict[str, int] = {}
        table: tuple[str | int, ...] = ()
        inside: str | None = None
        for number, line in enumerate(text.splitlines(), start=1):
            if inside is not None:
                if inside in line:
                    inside = None
                continue
            if header := _HEADER.match(line):
                table = self._table(header[1], _bits(header[2]), counts)
                self._at.setdefault(table, number)
            elif key := _KEY.match(line):
                path = (*table, *_bits(key[1]))
                for end in range(len(table) + 1, len(path) + 1):
                    self._at.setdefault(path[:end], number)
            for quotes in ('"""', "'''"):
                if line.count(quotes) % 2:
                    inside = quotes

    @staticmethod
    def _table(brackets: str, bits: list[str], counts: dict[str, int]) -> tuple[str | int, ...]:
        if brackets == "[[":
            counts[bits[0]] = counts.get(bits[0], -1) + 1
            return (bits[0], counts[bits[0]], *bits[1:])
        if bits[0] in counts:
            return (bits[0], counts[bits[0]], *bits[1:])
        return tuple(bits)

    def of(self, path: tuple[str | int, ...]) -> int | None:
        """The line of `path`, or of the nearest table round it that stands on one; None if there is none."""
        for end in range(len(path), 0, -1):
            if path[:end] in self._at:
                return self._at[path[:end]]
        return None


def _bits(text: str) -> list[str]:
    return [bit.strip("\"'") for bit in _BIT.findall(text)]
