"""The gate of every sum of the bench: its arguments are what they are said to be, or an InputError names the one."""

from __future__ import annotations

from qclog.domain import checking
from qclog.errors import InputError

checked = checking.checked(InputError)


def check_fields(instance: object) -> None:
    """The fields of a dataclass, from its `__post_init__`."""
    checking.check_fields(instance, InputError)
