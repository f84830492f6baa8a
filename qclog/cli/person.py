"""`qclog person`: the people the log knows."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("person", help="people: add, list")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add = actions.add_parser("add", help="add someone")
    add.add_argument("name")
    add.add_argument(
        "--role", default="technician", help="technician (the default), inspector, manager, warranty or stores"
    )
    options.add_log(add)
    options.add_by(add)
    add.set_defaults(run=add_one)
    listing = actions.add_parser("list", help="everyone the log knows")
    options.add_log(listing)
    listing.set_defaults(run=list_all)


def add_one(arguments: argparse.Namespace) -> int:
    """Add someone."""
    from qclog.domain.jobs import Person
    from qclog.services import people

    submission = options.submission_of(arguments, f"person {arguments.name}")
    people.add_person(options.log_of(arguments), Person(arguments.name, arguments.role), submission)
    print(f"{arguments.name} is in the log as {arguments.role}")
    return 0


def list_all(arguments: argparse.Namespace) -> int:
    """List people."""
    from qclog.cli.columns import print_columns
    from qclog.services import people

    rows = people.list_people(options.log_of(arguments))
    print_columns(("person", "role"), [(r["person"], r["role"]) for r in rows])
    return 0
