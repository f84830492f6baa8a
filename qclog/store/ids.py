"""Ids made by the client, so that a retry is recognised: UUID version 7 (RFC 9562 section 5.7)."""

from __future__ import annotations

import secrets
import threading
import time
from typing import TYPE_CHECKING
from uuid import UUID

if TYPE_CHECKING:
    import polars as pl

_last = 0
_guard = threading.Lock()


def new_id() -> UUID:
    """A new UUIDv7: milliseconds since 1970, then a counter and random bits, rising within this process."""
    stamp = _stamps(1)
    value = (stamp >> 12) << 80 | 0x7 << 76 | (stamp & 0xFFF) << 64 | 0b10 << 62 | secrets.randbits(62)
    return UUID(int=value)


def new_ids(n: int) -> pl.Series:
    """`n` new UUIDv7 as hexadecimal text, rising, so that rows sort in the order they came."""
    import numpy as np
    import polars as pl
    import pyarrow as pa

    stamps = _stamps(n) + np.arange(n, dtype=np.uint64)
    halves = np.empty((n, 2), dtype=">u8")
    halves[:, 0] = (stamps >> np.uint64(12)) << np.uint64(16) | np.uint64(0x7000) | (stamps & np.uint64(0xFFF))
    noise = np.frombuffer(secrets.token_bytes(8 * n), dtype=np.uint64)
    halves[:, 1] = (noise & np.uint64((1 << 62) - 1)) | np.uint64(0b10 << 62)
    text = pa.py_buffer(halves.tobytes().hex().encode())
    ends = pa.py_buffer(np.arange(0, 32 * (n + 1), 32, dtype=np.int64))
    return pl.Series("id", pl.from_arrow(pa.LargeStringArray.from_buffers(n, ends, text)))


def _stamps(n: int) -> int:
    """The first of `n` stamps nobody else in this process gets: milliseconds and a 12-bit counter."""
    global _last  # noqa: PLW0603 - one counter for the whole process keeps ids in the order they were made
    with _guard:
        first = max((time.time_ns() // 1_000_000) << 12, _last + 1)
        _last = first + n - 1
    return first
