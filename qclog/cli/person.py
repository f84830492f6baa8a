"""`qclog person`: the people the log knows, what they may do, and their PINs."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from qclog.cli import options
from qclog.domain.jobs import ROLES
from qclog.domain.rights import acts_of

_ROLES = "; ".join(f"{role}: {', '.join(acts_of(role))}" for role in ROLES)


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser(
        "person", help="people: add, list, role, left, pin", epilog=f"What each may do. {_ROLES}."
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add = actions.add_parser("add", help="add someone")
    add.add_argument("name")
    add.add_argument("--role", default="technician", help=f"one of {', '.join(ROLES)} (default: technician)")
    role = actions.add_parser("role", help="give someone another role from now on")
    role.add_argument("name")
    role.add_argument("role", metavar="ROLE", help=", ".join(ROLES))
    left = actions.add_parser("left", help="say that someone has left the workshop; what they logged stays")
    left.add_argument("name")
    left.add_argument("--back", action="store_true", help="they are back")
    pin = actions.add_parser("pin", help="set someone's PIN for the pages; it is asked for, not shown")
    pin.add_argument("name")
    pin.add_argument("--none", action="store_true", help="take the PIN away")
    for action, run in ((add, add_one), (role, change_role), (left, say_left), (pin, set_pin)):
        options.add_log(action)
        options.add_by(action)
        action.set_defaults(run=run)
    listing = actions.add_parser("list", help="everyone the log knows")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)


def add_one(arguments: argparse.Namespace) -> int:
    """Add someone."""
    from qclog.domain.jobs import Person
    from qclog.services.keeping import people

    submission = options.submission_of(arguments, f"person {arguments.name}")
    people.add_person(options.log_of(arguments), Person(arguments.name, arguments.role), submission)
    print(f"{arguments.name} is in the log as {arguments.role}")
    return 0


def change_role(arguments: argparse.Namespace) -> int:
    """Give someone another role."""
    from qclog.services.keeping import signing_on

    submission = options.submission_of(arguments, f"person {arguments.name} is {arguments.role}")
    signing_on.set_role(options.log_of(arguments), arguments.name, arguments.role, submission)
    print(f"{arguments.name} is {arguments.role} from now on")
    return 0


def say_left(arguments: argparse.Namespace) -> int:
    """Say that someone has left, or is back."""
    from qclog.services.keeping import signing_on

    word = "is back" if arguments.back else "has left"
    submission = options.submission_of(arguments, f"person {arguments.name} {word}")
    signing_on.set_left(options.log_of(arguments), arguments.name, left=not arguments.back, submission=submission)
    print(f"{arguments.name} {word}")
    return 0


def set_pin(arguments: argparse.Namespace) -> int:
    """Set or take away someone's PIN."""
    from qclog.services.keeping import signing_on

    log = options.log_of(arguments)
    name = arguments.name
    by = options.person_of(arguments)
    submission = options.submission_of(arguments, f"PIN of {name}")
    known = {w.person: w for w in signing_on.workers(log)}
    has_pin = name in known and known[name].has_pin
    old = _ask(f"{name}'s PIN until now: ") if has_pin and by == name else None
    new = None
    if not arguments.none:
        new = _ask(f"New PIN for {name}: ")
        _need_same(new, _ask("Once more: "))
    signing_on.set_pin(log, name, new, submission, old=old)
    print(f"{name} has {'no' if new is None else 'a new'} PIN")
    return 0


def _ask(question: str) -> str:
    """A PIN, not shown while it is typed; from a pipe, one a line."""
    if sys.stdin.isatty():
        from getpass import getpass

        return getpass(question).strip()
    return sys.stdin.readline().strip()


def _need_same(one: str, two: str) -> None:
    from qclog.errors import InputError

    if one != two:
        raise InputError("the two PINs differ", field="PIN", hint="nothing was changed; try again")


def list_all(arguments: argparse.Namespace) -> int:
    """List people, and under whose names wrong PINs were tried."""
    from qclog.cli.columns import print_columns
    from qclog.services.keeping import signing_on

    workers, tried = signing_on.workers_with_tries(options.log_of(arguments))
    rows = [
        (w.person, w.role, "PIN" if w.has_pin else "no PIN", "has left" if w.has_left else "", tried.get(w.person, ""))
        for w in workers
    ]
    print_columns(("person", "role", "signs on with", "", ""), rows)
    return 0
