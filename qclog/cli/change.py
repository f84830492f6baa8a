"""`qclog change`: a recorded change of the work starts a new reference from that day; the old one stays."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.domain.findings import CHANGED, CHANGES


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("change", help="changes of the work (a new setup, a gauge re-set): record, list")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    new = actions.add_parser("add", help="record a change: limits and the watch start afresh from then")
    new.add_argument("kind", metavar="KIND", type=_as_words, choices=CHANGES, help=", ".join(CHANGES))
    new.add_argument("--case-type", metavar="CODE", help="the case type it is about")
    new.add_argument("--characteristic", metavar="CODE", help="only this one of its characteristics")
    for name in CHANGED:
        new.add_argument(
            "--" + name.replace("_", "-"), metavar="NAME", help=f"the {name.replace('_', ' ')} it is about"
        )
    new.add_argument("--since", metavar="TIME", help="from when (default: now)")
    new.add_argument("--note", metavar="TEXT", help="what changed")
    options.add_log(new)
    options.add_by(new)
    new.set_defaults(run=add)
    listing = actions.add_parser("list", help="every recorded change, the oldest first")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)


def _as_words(text: str) -> str:
    words = text.replace("-", " ").replace("_", " ")
    return "gauge re-set" if words in ("gauge re set", "gauge reset") else words


def add(arguments: argparse.Namespace) -> int:
    """Record a change."""
    from qclog.domain.findings import Change
    from qclog.domain.moments import now, read_moment, show_moment
    from qclog.errors import InputError
    from qclog.services.keeping import changes, sheets

    log = options.log_of(arguments)
    zone = sheets.zone_of(log)
    named = [(name, getattr(arguments, name)) for name in CHANGED if getattr(arguments, name) is not None]
    if len(named) > 1:
        raise InputError("a change is about one thing", field=named[1][0], found=named[1][1])
    identifier, level = named[0] if named else (None, None)
    change = Change(
        kind=arguments.kind,
        since=now() if arguments.since is None else read_moment(arguments.since, zone),
        person=options.person_of(arguments),
        case_type=arguments.case_type,
        characteristic=arguments.characteristic,
        identifier=identifier,
        level=level,
        note=arguments.note,
    )
    changes.record_change(log, change, options.submission_of(arguments, f"change: {change.kind}"))
    print(f"{changes.change_text(change)}, since {show_moment(change.since, zone)}: {changes.effect_text(change)}")
    return 0


def list_all(arguments: argparse.Namespace) -> int:
    """List the changes."""
    from qclog.cli.columns import print_columns
    from qclog.domain.moments import show_moment
    from qclog.services.keeping import changes, sheets

    log = options.log_of(arguments)
    recorded = changes.list_changes(log)
    if not recorded:
        print("no changes recorded: qclog change add KIND --case-type CODE")
        return 0
    zone = sheets.zone_of(log)
    print_columns(
        ("since", "kind", "about", "note", "by"),
        [(show_moment(c.since, zone), c.kind, changes.about_text(c), c.note, c.person) for c in recorded],
    )
    return 0
