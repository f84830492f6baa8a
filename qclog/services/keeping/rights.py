"""Whether someone may do what they are about to do: asked inside the transaction that would do it.

Rights hold from the moment the log has a manager; before that a new workshop is set up by whoever makes it.
"""

from __future__ import annotations

from qclog.domain import stored
from qclog.domain.jobs import ROLE_WORDS
from qclog.domain.rights import Act, roles_with
from qclog.errors import RightsError
from qclog.store.log import Log, Use


def need(use: Use, by: str, act: Act) -> None:
    """RightsError unless `by` is one of the log's people, still here, with a role that may do `act`.

    LookupError where the table of acts does not have it.
    """
    roles = roles_with(act)
    people = {row.person: row for row in use.rows("people_now", stored.PersonNow)}
    if not managers(people):
        return
    person = people.get(by)
    able = [p.person for p in people.values() if p.role in roles and not p.has_left]
    hint = f"{', '.join(able[:6])} may" if able else f"it takes {' or '.join(roles)}"
    if person is None:
        raise RightsError(
            f"{by} is not one of the people of this log, so may not {act}",
            field="by",
            found=by,
            hint=f"say who is doing this (--by NAME at the terminal): {hint}",
        )
    if person.has_left:
        raise RightsError(f"{by} has left, so may not {act}", field="by", found=by, hint=hint)
    if person.role not in roles:
        raise RightsError(f"{by} is {ROLE_WORDS[person.role]} and may not {act}", field="by", found=by, hint=hint)


def need_name(use: Use, by: str, person: str | None) -> None:
    """RightsError if something is to be logged as done by `person` (None: nobody is named) and `by` may not say so."""
    if person is not None and person != by:
        need(use, by, Act.NAME_ANOTHER)


def who_may(log: Log, act: Act) -> tuple[str, ...] | None:
    """The people still here who may do an act; None where rights do not hold yet."""
    with log.reading() as use:
        return those_with(use, act)


def those_with(use: Use, act: Act) -> tuple[str, ...] | None:
    """The names of those who may; None while the log has no manager, when anyone may."""
    roles = roles_with(act)
    people = {row.person: row for row in use.rows("people_now", stored.PersonNow)}
    if not managers(people):
        return None
    return tuple(p.person for p in people.values() if p.role in roles and not p.has_left)


def has(use: Use, by: str, act: Act) -> bool:
    """Whether `need` would pass."""
    try:
        need(use, by, act)
    except RightsError:
        return False
    return True


def managers(people: dict[str, stored.PersonNow]) -> list[str]:
    """Those who may manage, of rows of `people_now` by name."""
    return [name for name, row in people.items() if row.role in roles_with(Act.MANAGE_PEOPLE) and not row.has_left]
