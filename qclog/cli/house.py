"""`qclog house`: the house's own codes of complaints and failures, and its rates."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.cli.options import any_of
from qclog.domain.claims import HOUSE_DETAILS, RATES
from qclog.words.numbers import plural


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("house", help="the house's own codes of complaints and failures, and its rates")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="every code and rate")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)
    returns = actions.add_parser("returns", help="what came back: how far each has come, whose it was, and its cost")
    returns.add_argument("--since", metavar="DAY", help="from this day on, such as 2026-01-01")
    returns.add_argument("--until", metavar="DAY", help="up to and with this day")
    options.add_log(returns, earlier=True)
    returns.set_defaults(run=list_returns)
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


def list_returns(arguments: argparse.Namespace) -> int:
    """List every return with its cost, and what they cost together."""
    from qclog.cli.columns import print_columns
    from qclog.services.jobs import claims

    log = options.log_of(arguments)
    since, until = (options.day_of(name, getattr(arguments, name)) for name in ("since", "until"))
    every = claims.all_claims(log)
    chosen = claims.between(every, since, until)
    if not chosen:
        print("nothing came back in that time" if every else "nothing has come back yet")
        return 0
    rows = [
        (c.day.isoformat(), c.job, c.state, c.attributable or "open", c.value("failure_code"), _cost(c.cost))
        for c in chosen
    ]
    print_columns(("came back", "job", "it is", "ours", "failure", "cost"), rows)
    added = claims.total(chosen)
    print(f"\n{plural(added.returns, 'return')}: {added.ours} ours, {added.not_ours} not ours, {added.closed} closed")
    print("; ".join((f"cost: {added.cost_text}", *added.amounts)))
    groups = claims.by_failure(chosen, claims.house(log))
    for name, group in groups if len(groups) > 1 else ():
        print(f"  {name}: {plural(group.returns, 'return')}, {group.cost_text}")
    return 0


def _cost(cost: float | None) -> str:
    return "" if cost is None else f"{cost:,.2f}"


def set_one(arguments: argparse.Namespace) -> int:
    """Set a code or a rate."""
    from qclog.services.jobs import claims

    submission = options.submission_of(arguments, f"{arguments.name} {arguments.code}")
    claims.set_house(options.log_of(arguments), arguments.name, arguments.code, arguments.value, submission)
    print(f"{arguments.name} {arguments.code}: {arguments.value or 'taken away'}")
    return 0
