"""What may be a name in the log (a job's number, a person, a gauge, a lot): what one can read, type and print."""

from __future__ import annotations

from qclog.errors import InputError

LONGEST = 200


def fault_of(name: str) -> str | None:
    """Why `name` can't be a name, in words that follow it; None if it can.

    Letters that can't be seen make two names look the same, turn the text round them, and are in no font of a paper.
    """
    if not name.strip():
        return "is empty"
    if len(name) > LONGEST:
        return f"is longer than {LONGEST} letters"
    if name != name.strip():
        return "has a space at an end"
    unseen = next((letter for letter in name if not letter.isprintable()), None)
    if unseen is not None:
        return f"has a letter that can't be seen or printed, U+{ord(unseen):04X}: type the name again"
    return None


def check_name(name: str | None, field: str) -> None:
    """InputError unless `name` can be a name; None is no name, and passes."""
    fault = None if name is None else fault_of(name)
    if name is not None and fault is not None:
        reason, _, hint = fault.partition(": ")
        raise InputError(f"the {field.replace('_', ' ')} {reason}", field=field, found=name, hint=hint or None)
