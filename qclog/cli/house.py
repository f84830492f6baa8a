"""`qclog house`: the house's own codes of complaints and failures, and its rates."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.cli.options import any_of
from qclog.domain.claims import HOUSE_DETAILS, RATES


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("house", help="the house's own codes of complaints and failures, and its rates")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="every code and rate")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)
    new = actions.add_parser("set", help="set a code and its words, or a rate; no words take it away")
    new.add_argument("name", help=any_of(tuple(HOUSE_DETAILS)))
    new.add_argument("code", help=f"the code; of a rate: {any_of(RATES)}")
    new.add_argument("value", nargs="?", default="", help="its words, or the amount")
    options.add_log(new)
    options.add_by(new)
    new.set_defaults(run=set_one)


def list_all(arguments: argparse.Namespace) -> int:
    """List codes and rates."""
    from qclog.cli.columns import print_columns
    from qclog.services.jobs import claims

    rows = [(HOUSE_DETAILS[d.name], d.code, d.value) for d in claims.house(options.log_of(arguments))]
    print_columns(("what", "code", "words or amount"), rows)
    if not rows:
        print("nothing is set yet: qclog house set complaint_code OL 'oil leak'")
    return 0


def set_one(arguments: argparse.Namespace) -> int:
    """Set a code or a rate."""
    from qclog.services.jobs import claims

    submission = options.submission_of(arguments, f"{arguments.name} {arguments.code}")
    claims.set_house(options.log_of(arguments), arguments.name, arguments.code, arguments.value, submission)
    print(f"{arguments.name} {arguments.code}: {arguments.value or 'taken away'}")
    return 0
