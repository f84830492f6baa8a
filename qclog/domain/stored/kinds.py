"""Which class is that of the rows of which query."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T", bound=tuple[object, ...])
KINDS: dict[str, type[tuple[object, ...]]] = {}


def of(*queries: str) -> Callable[[type[T]], type[T]]:
    """Keep a class as that of the rows of some queries."""

    def keep(kind: type[T]) -> type[T]:
        KINDS.update(dict.fromkeys(queries, kind))
        return kind

    return keep
