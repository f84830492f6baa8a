"""What a person should be told while the log is used, and is no error: whoever shows things to people says how."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_tellers: ContextVar[tuple[Callable[[str], None], ...]] = ContextVar("tellers", default=())


@contextmanager
def told_to(teller: Callable[[str], None]) -> Iterator[None]:
    """Hand every notice to `teller`, one sentence each, within this context."""
    token = _tellers.set((*_tellers.get(), teller))
    try:
        yield
    finally:
        _tellers.reset(token)


def tell(sentence: str) -> None:
    """Tell whoever listens."""
    for teller in _tellers.get():
        teller(sentence)
