"""Whatever stands where a number belongs, a sum or a statistic answers or says which argument is at fault.

Never an exception of Python's own, never NaN without a word, never without end.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from math import isnan
from typing import Any

import numpy as np
import pytest

from qclog.errors import QclogError, UnitError
from tests.unit import hostile

SECONDS = 20
MEANT = {
    "summary.correlate_neighbours": "NaN when all are equal, as its docstring says",
    "bracket_limits.individuals_from_brackets": "brackets have no moving range to put a limit on",
}


@contextmanager
def ended_in_time() -> Iterator[None]:
    """No call goes on for ever: a statement of the test, not a measure of speed."""

    def stop(*_: object) -> None:
        raise AssertionError(f"no answer in {SECONDS} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def test_every_public_function_is_looked_at() -> None:
    known = set(hostile.CALLS) | set.union(*hostile.INNER.values())
    assert set(hostile.public()) - known == set()
    assert known - set(hostile.public()) == {name for name in hostile.CALLS if name.partition(".")[2][0].isupper()}


def without_a_word(result: Any) -> bool:
    """Whether there is a NaN in a result that says nothing of it."""
    if is_dataclass(result) and getattr(result, "warnings", False):
        return False
    if isinstance(result, float | np.floating):
        return isnan(result)
    if isinstance(result, np.ndarray):
        return result.dtype.kind == "f" and bool(np.isnan(result).any())
    if isinstance(result, dict):
        return any(without_a_word(item) for item in result.values())
    if isinstance(result, list | tuple):
        return any(without_a_word(item) for item in result)
    return is_dataclass(result) and any(without_a_word(getattr(result, field.name)) for field in fields(result))


def faults_of(name: str) -> Iterator[str]:
    """What is wrong with how a function takes hostile arguments."""
    call = hostile.function(name)
    args, kwargs = hostile.CALLS[name]
    places: list[tuple[Any, Any]] = [(i, None) for i in range(len(args))] + [(None, key) for key in kwargs]
    for place, key in places:
        for bad in hostile.hostile(args[place] if key is None else kwargs[key]):
            given = tuple(bad if i == place else a for i, a in enumerate(args))
            named = {k: bad if k == key else v for k, v in kwargs.items()}
            said = f"{name}, argument {key or place} = {str(bad)[:60]}"
            try:
                with ended_in_time(), np.errstate(all="ignore"):
                    result = call(*given, **named)
            except QclogError as error:
                if not error.field and not isinstance(error, UnitError):  # which says that it is the unit
                    yield f"{said}: {error} names no field"
            except Exception as error:  # noqa: BLE001 - whatever comes out is a fault
                yield f"{said}: {type(error).__name__} {error}"
            else:
                if without_a_word(result) and name not in MEANT:
                    yield f"{said}: NaN in {str(result)[:80]}"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", hostile.CALLS)
def test_hostile_arguments_are_answered_or_named(name: str) -> None:
    args, kwargs = hostile.CALLS[name]
    assert name in MEANT or not without_a_word(hostile.function(name)(*args, **kwargs))
    faults = list(faults_of(name))
    assert not faults, "\n".join(faults)
