"""Ids made by the client, so that a retry is recognised: UUID version 7 (RFC 9562 section 5.7)."""

from __future__ import annotations

import secrets
import threading
import time
from uuid import UUID

_last = 0
_guard = threading.Lock()


def new_id() -> UUID:
    """A new UUIDv7: milliseconds since 1970, then a counter and random bits, rising within this process."""
    global _last  # noqa: PLW0603 - one counter for the whole process keeps ids in the order they were made
    with _guard:
        stamp = max((time.time_ns() // 1_000_000) << 12, _last + 1)
        _last = stamp
    value = (stamp >> 12) << 80 | 0x7 << 76 | (stamp & 0xFFF) << 64 | 0b10 << 62 | secrets.randbits(62)
    return UUID(int=value)
