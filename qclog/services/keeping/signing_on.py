"""Signing on with a PIN: slow hashes, a lock after wrong tries, and every try kept.

Argon2id with the settings that argon2-cffi recommends (RFC 9106, section 4, the second choice).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.jobs import ROLES
from qclog.domain.moments import now, show_moment
from qclog.domain.rights import Act
from qclog.errors import InputError, SignOnError, UnknownNameError
from qclog.services.keeping import rights, sheets
from qclog.services.keeping.people import choose
from qclog.store import records
from qclog.store.log import Log, Submission, Use

if TYPE_CHECKING:
    from argon2 import PasswordHasher

MOST_TRIES = 5
LOCKS = tuple(timedelta(minutes=m) for m in (15, 60, 240, 720))  # after each MOST_TRIES in a row; then always the last
SHOWN_FOR = timedelta(days=30)
SHORTEST, LONGEST = 4, 12


@dataclass(frozen=True, slots=True)
class Worker:
    """Someone of the log as they stand now."""

    person: str
    role: str
    has_left: bool
    has_pin: bool


def workers(log: Log) -> tuple[Worker, ...]:
    """Everyone of the log."""
    with log.reading() as use:
        return tuple(Worker(*row) for row in use.rows("people_now", stored.PersonNow))


def set_pin(log: Log, person: str, pin: str | None, submission: Submission, *, old: str | None = None) -> None:
    """Give someone a PIN, or take it away (None).

    A manager may for anyone. Others only for themselves, and with their `old` PIN if they have one. InputError for a
    PIN that is too short or easily guessed, SignOnError for a wrong old one.
    """
    if pin is not None:
        _check_pin(pin)
    hashed = "" if pin is None else _hasher().hash(pin)
    _need_own_or_manager(log, person, submission, old)
    with log.writing(submission) as use:
        records.need(use, "person", "person", person, "person")
        if submission.by != person:
            rights.need(use, submission.by, Act.MANAGE_PEOPLE)
        records.add_person_detail(use, person, "pin", hashed)


def _need_own_or_manager(log: Log, person: str, submission: Submission, old: str | None) -> None:
    with log.reading() as use:
        mine = use.rows("pin_of", stored.Pin, person=person)
        manages = rights.has(use, submission.by, Act.MANAGE_PEOPLE)
    if mine and mine[0].pin is not None and not manages:
        sign_on(log, person, old or "", Submission(submission.by, submission.via, f"old PIN of {person}"))


@dataclass(frozen=True, slots=True)
class WrongPins:
    """Wrong PINs tried under one name in the last `SHOWN_FOR`, times in UTC; `locked_until` where it is locked now."""

    person: str
    tries: int
    last: datetime
    locked_until: datetime | None


def wrong_pins(log: Log) -> tuple[WrongPins, ...]:
    """Under which names wrong PINs were tried lately, for who manages the log."""
    moment = now()
    with log.reading() as use:
        return tuple(
            WrongPins(row.person, row.tries, row.last, _locked_until(row.in_a_row, moment))
            for row in use.rows("wrong_pins", stored.WrongPins, since=moment - SHOWN_FOR)
        )


def workers_with_tries(log: Log) -> tuple[tuple[Worker, ...], dict[str, str]]:
    """Everyone, and `tell_wrong_pins`, as they are at one moment."""
    with log.reading():
        return workers(log), tell_wrong_pins(log)


def tell_wrong_pins(log: Log) -> dict[str, str]:
    """`wrong_pins` in words, by person."""
    with log.reading() as use:
        zone = sheets.timezone_of(use)
        return {w.person: say_wrong(w, zone) for w in wrong_pins(log)}


def say_wrong(wrong: WrongPins, zone: ZoneInfo) -> str:
    """In words, without the name: "5 wrong PINs, the last 2026-03-14 17:02, locked until 2026-03-14 17:17"."""
    many = "1 wrong PIN" if wrong.tries == 1 else f"{wrong.tries} wrong PINs"
    last = f"{many}, the last {show_moment(wrong.last, zone)}"
    return last if wrong.locked_until is None else f"{last}, locked until {show_moment(wrong.locked_until, zone)}"


def sign_on_unseen(log: Log, person: str, pin: str, submission: Submission) -> None:
    """`sign_on` where names are not shown: whatever is wrong is told in the same words, so no name is given away."""
    try:
        sign_on(log, person, pin, submission)
    except (SignOnError, UnknownNameError) as error:
        if not isinstance(error, SignOnError):
            _hasher().hash(pin)  # so that an unknown name takes as long
        raise SignOnError(
            "that name and PIN do not sign on",
            field="PIN",
            hint=f"after {MOST_TRIES} wrong PINs a name is locked for a while; a manager can set a new PIN",
        ) from error


def sign_on(log: Log, person: str, pin: str, submission: Submission) -> None:
    """Check a PIN. SignOnError for a wrong one, and for a while (`LOCKS`) after `MOST_TRIES` wrong ones in a row.

    The check is inside the transaction that counts it, so many tries at once count as many.
    """
    with log.writing(submission) as use:
        records.need(use, "person", "person", person, "person")
        row = use.rows("pin_of", stored.Pin, person=person)[0]
        if row.pin is None:
            raise SignOnError(f"{person} has no PIN", field="person", found=person, hint="a manager can set one")
        _need_open(person, row.wrong, now())
        good = _matches(row.pin, pin)
        records.add_sign_on(use, person, now(), good=good)
        left = MOST_TRIES - len(row.wrong) % MOST_TRIES - 1
    if not good:
        after = f"{left} more tries" if left > 1 else "one more try" if left == 1 else "no try"
        raise SignOnError(f"that is not {person}'s PIN", field="PIN", hint=f"{after} before it is locked for a while")


def _locked_until(wrong: list[datetime], moment: datetime) -> datetime | None:
    """When the lock ends that so many wrong PINs in a row have set; None where it is open at `moment`."""
    rounds, over = divmod(len(wrong), MOST_TRIES)
    if not rounds or over:
        return None
    until = wrong[-1] + LOCKS[min(rounds, len(LOCKS)) - 1]
    return until if moment < until else None


def _need_open(person: str, wrong: list[datetime], moment: datetime) -> None:
    until = _locked_until(wrong, moment)
    if until is not None:
        minutes = max(1, round((until - moment).total_seconds() / 60))
        wait = f"{minutes} minute{'' if minutes == 1 else 's'}" if minutes < 90 else f"{round(minutes / 60)} hours"
        raise SignOnError(
            f"{person} is locked after {len(wrong)} wrong PINs",
            field="PIN",
            hint=f"try again in {wait}, or let a manager set a new PIN",
        )


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()


def _matches(hashed: str, pin: str) -> bool:
    from argon2.exceptions import VerifyMismatchError

    try:
        return _hasher().verify(hashed, pin)
    except VerifyMismatchError:
        return False


def _check_pin(pin: str) -> None:
    if not (pin.isascii() and pin.isdigit() and SHORTEST <= len(pin) <= LONGEST):
        raise InputError(f"a PIN is {SHORTEST} to {LONGEST} digits", field="PIN")
    steps = {int(b) - int(a) for a, b in pairwise(pin)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise InputError("that PIN is too easily guessed", field="PIN", hint="not one digit over and over, nor a run")


def set_role(log: Log, person: str, role: str, submission: Submission) -> None:
    """Give someone another role from now on; the log never stays without a manager once it has one."""
    choose(role, ROLES, "role")
    _change(log, person, "role", role, submission)


def set_left(log: Log, person: str, *, left: bool, submission: Submission) -> None:
    """Say that someone has left the workshop, or is back. Their readings stay; they can no longer sign on."""
    _change(log, person, "left", "yes" if left else "", submission)


def _change(log: Log, person: str, name: str, value: str, submission: Submission) -> None:
    with log.writing(submission) as use:
        records.need(use, "person", "person", person, "person")
        rights.need(use, submission.by, Act.MANAGE_PEOPLE)
        before = _managers(use)
        records.add_person_detail(use, person, name, value)
        if before and not _managers(use):
            raise InputError(
                "the log would be left without a manager",
                field="person",
                found=person,
                hint="make someone else a manager first",
            )


def _managers(use: Use) -> list[str]:
    people: dict[str, stored.PersonNow] = {row.person: row for row in use.rows("people_now", stored.PersonNow)}
    return rights.managers(people)


def need_pins(log: Log) -> None:
    """InputError unless everyone still here has a PIN and one of them manages: what opening to the network needs."""
    here = [w for w in workers(log) if not w.has_left]
    without = [w.person for w in here if not w.has_pin]
    if without or not any(w.role == "manager" for w in here):
        raise InputError(
            "the dashboard is opened to the network only when everyone signs on with a PIN",
            field="address",
            found=f"without a PIN: {', '.join(without)}" if without else "no manager",
            hint="set them with `qclog person pin NAME`, or say who has left with `qclog person left NAME`",
        )
