"""Digests of what was entered: rows to bytes, bytes to SHA-256 (FIPS 180-4), and sixteen letters for the day book.

The bytes of a table's rows, which depend on no database and no library: the number of rows; then for every column in
alphabetical order that is not empty throughout, its name, a zero byte, its kind, for each row 1 or 0 (given or not),
and the values. Numbers are 8 bytes, little-endian: IEEE 754 for reals, two's complement for whole numbers. Texts are
their lengths in bytes, as whole numbers, and then all texts in UTF-8.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Literal

Kind = Literal["text", "whole", "real"]
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # without I, L, O and U, which are misread
_SHORT_BITS = 80


def digest_rows(columns: Mapping[str, tuple[Kind, Sequence[object]]], n: int) -> str:
    """SHA-256 of `n` rows given as columns, in hexadecimal; None where nothing is given."""
    pieces = [struct.pack("<q", n)]
    for name in sorted(columns):
        kind, values = columns[name]
        given = bytes([value is not None for value in values])
        if b"\1" not in given:
            continue
        pieces += (_label(name, kind), given)
        if kind == "text":
            texts = [b"" if value is None else str(value).encode() for value in values]
            pieces.append(struct.pack(f"<{n}q", *map(len, texts)))
            pieces += texts
        else:
            form = f"<{n}d" if kind == "real" else f"<{n}q"
            pieces.append(struct.pack(form, *[0 if value is None else value for value in values]))
    return hashlib.sha256(b"".join(pieces)).hexdigest()


@cache
def _label(name: str, kind: Kind) -> bytes:
    return f"{name}\0{kind}".encode()


def chain(before: str, entry: int, how: str, parts: str) -> str:
    """The digest of an entry, which follows from the one `before` ('' for the first)."""
    return hashlib.sha256("\n".join((before, str(entry), how, parts)).encode()).hexdigest()


def short(digest: str) -> str:
    """The first 80 bits of a digest as four groups of four letters, to write down."""
    value = int(digest, 16) >> (256 - _SHORT_BITS)
    letters = "".join(LETTERS[value >> shift & 31] for shift in range(_SHORT_BITS - 5, -5, -5))
    return "-".join(letters[i : i + 4] for i in range(0, len(letters), 4))


def read_short(text: str) -> str | None:
    """What was written down, as `short` gives it; None if it can't be one. Case, spaces and O for 0 do not matter."""
    letters = "".join(c for c in text.upper() if c.isalnum()).replace("O", "0").replace("I", "1").replace("L", "1")
    if len(letters) != _SHORT_BITS // 5 or set(letters) - set(LETTERS):
        return None
    return "-".join(letters[i : i + 4] for i in range(0, len(letters), 4))
