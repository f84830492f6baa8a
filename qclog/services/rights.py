"""Whether someone may do what they are about to do: asked inside the transaction that would do it.

Rights hold from the moment the log has a manager; before that a new workshop is set up by whoever makes it.
"""

from __future__ import annotations

from typing import Any

from qclog.domain.rights import MANAGE, RIGHTS, roles_with
from qclog.errors import RightsError
from qclog.store.log import Use


def need(use: Use, by: str, right: str, or_else: str | None = None) -> None:
    """RightsError unless `by` is one of the log's people, still here, with a role that has `right` (or the other)."""
    people = {row["person"]: row for row in use.rows("people_now")}
    if not managers(people):
        return
    person = people.get(by)
    enough = {right, or_else}
    able = [p["person"] for p in people.values() if enough & RIGHTS[p["role"]] and not p["has_left"]]
    hint = f"{', '.join(able[:6])} may" if able else f"it takes {' or '.join(roles_with(right))}"
    if person is None:
        raise RightsError(
            f"{by} is not one of the people of this log, so may not {right}",
            field="by",
            found=by,
            hint=f"say who is doing this (--by NAME at the terminal): {hint}",
        )
    if person["has_left"]:
        raise RightsError(f"{by} has left, so may not {right}", field="by", found=by, hint=hint)
    if not enough & RIGHTS[person["role"]]:
        raise RightsError(f"{by} is {_article(person['role'])} and may not {right}", field="by", found=by, hint=hint)


def those_with(use: Use, right: str) -> tuple[str, ...] | None:
    """The names of those who may; None while the log has no manager, when anyone may."""
    people = {row["person"]: row for row in use.rows("people_now")}
    if not managers(people):
        return None
    return tuple(p["person"] for p in people.values() if right in RIGHTS[p["role"]] and not p["has_left"])


def has(use: Use, by: str, right: str) -> bool:
    """Whether `need` would pass."""
    try:
        need(use, by, right)
    except RightsError:
        return False
    return True


def managers(people: dict[str, dict[str, Any]]) -> list[str]:
    """Those who may manage, of rows of `people_now` by name."""
    return [name for name, row in people.items() if MANAGE in RIGHTS[row["role"]] and not row["has_left"]]


def _article(role: str) -> str:
    named = {"warranty": "in warranty", "stores": "in the stores", "inspector": "an inspector"}
    return named.get(role, f"a {role}")
