"""The gate of public sums and statistics: arguments are what their annotations say, or an error names the one at fault.

Numbers are finite and no larger than anything measured; what a number may mean (a probability, a size above 0) is
checked by the function itself.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache, lru_cache, wraps
from inspect import Signature, signature
from math import isfinite
from numbers import Real
from typing import Any, Literal, ParamSpec, TypeVar, Union, get_args, get_origin, get_type_hints

from qclog.errors import QclogError

P = ParamSpec("P")
R = TypeVar("R")
Errors = type[QclogError]
Hints = tuple[Any, ...]

LARGEST = 1e50
"""No reading or setting of anything is as large, and its fourth power still is a number."""


def checked(error: Errors) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """A decorator: the function's arguments are checked by its annotations, and raise `error` naming the argument.

    Looked at are float, int (which whole numbers of any type become), str, Literal, classes, and sequences and
    mappings of those; anything else is for the function.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @lru_cache(1)
        def wanted() -> tuple[Signature, dict[str, Any]]:
            return signature(function), get_type_hints(function)

        @wraps(function)
        def gate(*args: P.args, **kwargs: P.kwargs) -> R:
            shape, hints = wanted()
            bound = shape.bind(*args, **kwargs)
            for name, value in bound.arguments.items():
                variadic = shape.parameters[name].kind is shape.parameters[name].VAR_POSITIONAL
                hint = tuple[hints[name], ...] if variadic else hints[name]  # type: ignore[valid-type] # at run time
                bound.arguments[name] = _checked(value, hint, name, error)
            return function(*bound.args, **bound.kwargs)

        return gate

    return decorate


def check_fields(instance: object, error: Errors) -> None:
    """The same for the fields of a frozen dataclass, from its `__post_init__`."""
    kind: Any = type(instance)
    for name, hint in _hints_of(kind).items():
        _checked(getattr(instance, name), hint, name, error)


@cache
def _hints_of(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _checked(value: Any, hint: Any, field: str, error: Errors) -> Any:
    if hint in _PLAIN:
        return _PLAIN[hint](value, field, error)
    check = _MADE.get(get_origin(hint))
    if check is not None:
        return check(value, get_args(hint), field, error)
    if isinstance(hint, type) and hint is not bool and not isinstance(value, hint):
        raise error(f"{field} must be {_name_of(hint)}", field=field, found=_short(value))
    return value


def _choice(value: Any, choices: Hints, field: str, error: Errors) -> Any:
    if not any(isinstance(value, type(choice)) and value == choice for choice in choices):
        *others, last = (str(choice) for choice in choices)
        named = f"{', '.join(others)} or {last}" if others else last
        raise error(f"{field} must be {named}", field=field, found=_short(value))
    return value


def _named(value: Any, hints: Hints, field: str, error: Errors) -> Any:
    if not isinstance(value, Mapping):
        raise error(f"{field} must give a value for each name", field=field, found=_short(value))
    return {key: _checked(item, hints[1], f"{field}[{key}]", error) for key, item in value.items()}


def _number(value: Any, field: str, error: Errors) -> Any:
    if not isinstance(value, Real):
        raise error(f"{field} must be a number", field=field, found=_short(value), hint="give one number")
    try:
        number = float(value)
    except OverflowError:
        number = LARGEST
    if not isfinite(number):
        raise error(f"{field} must be finite", field=field, found=value, hint="give a number that was measured")
    if abs(number) >= LARGEST:
        raise error(f"{field} is absurdly large", field=field, found=_short(value), hint="give a number of its unit")
    return value


def _whole(value: Any, field: str, error: Errors) -> int:
    number = _number(value, field, error)
    if number != int(number):
        raise error(f"{field} must be a whole number", field=field, found=value)
    return int(number)


def _one_of(value: Any, hints: Hints, field: str, error: Errors) -> Any:
    if value is None and type(None) in hints:
        return None
    if any(getattr(get_origin(hint) or hint, "_is_protocol", False) for hint in hints):
        return value  # whatever becomes an array: the function makes one
    trouble: QclogError | None = None
    for hint in hints:
        if hint is not type(None):
            try:
                return _checked(value, hint, field, error)
            except error as found:
                trouble = trouble or found
    raise trouble or error(f"{field} can't be used", field=field, found=_short(value))


def _row(value: Any, hints: Hints, field: str, error: Errors) -> Any:
    if hints[-1] is Ellipsis:
        return _several(value, hints, field, error)
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) != len(hints):
        raise error(f"{field} must have {len(hints)} parts", field=field, found=_short(value))
    parts = zip(value, hints, strict=True)
    return tuple(_checked(item, hint, f"{field}[{i}]", error) for i, (item, hint) in enumerate(parts))


def _several(value: Any, hints: Hints, field: str, error: Errors) -> Any:
    """A sequence as it is; whole numbers as such, and what may be gone through only once as a tuple."""
    if isinstance(value, str | bytes) or not isinstance(value, Iterable):
        raise error(f"{field} must be a list", field=field, found=_short(value))
    items = value if hasattr(value, "__len__") else tuple(value)
    found = [_checked(item, hints[0], f"{field}[{i}]", error) for i, item in enumerate(items)]
    return items if all(one is other for one, other in zip(found, items, strict=True)) else found


def _name_of(kind: type) -> str:
    return {"str": "text", "datetime": "a time"}.get(kind.__name__, f"of the kind {kind.__name__}")


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


_PLAIN: dict[Any, Callable[[Any, str, Errors], Any]] = {float: _number, int: _whole}
_MADE: dict[Any, Callable[[Any, Hints, str, Errors], Any]] = {
    Union: _one_of,
    types.UnionType: _one_of,
    Literal: _choice,
    tuple: _row,
    Sequence: _several,
    Iterable: _several,
    dict: _named,
    Mapping: _named,
}
