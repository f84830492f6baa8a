"""`qclog findings`: the troubles that stand, strongest first, for a person or for other programs."""

from __future__ import annotations

import argparse
import json
from typing import Any

from qclog.cli import options


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("findings", help="the troubles the readings point to, and what to check next")
    parser.add_argument("--json", action="store_true", help="as one JSON array, strongest first")
    parser.add_argument("--replay", action="store_true", help="in the order in which each would have been raised")
    options.add_log(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the findings."""
    from qclog.domain.moments import show_moment
    from qclog.services import finding_words, jobs, sheets, watching

    log = options.log_of(arguments)
    found = watching.find_all(log)
    with log.reading() as use:
        zone = sheets.timezone_of(use)
    if arguments.replay:
        found = tuple(sorted(found, key=lambda f: (f.found_at, f.id)))
    if arguments.json:
        print(json.dumps(finding_words.as_json(found, zone), ensure_ascii=False, indent=1))
        return 0
    if not found:
        print("Nothing stands out after allowing for everything that was looked at.")
        return 0
    gone = {row["job"] for row in jobs.list_jobs(log, most=10_000_000) if row["dispatched"] is not None}
    for number, finding in enumerate(found, start=1):
        first, *rest = finding_words.tell(finding, gone, zone)
        date = f"{show_moment(finding.found_at, zone)[:10]}  " if arguments.replay else ""
        print(f"{number}. {date}{first}")
        for line in rest:
            print(f"   {line}")
    print("\nThese are suggestions from readings, not proof: look before you act.")
    return 0
