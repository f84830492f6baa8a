"""`qclog init`, `qclog verify`: a new log, and whether a log is sound."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options


def add_to(commands: Any) -> None:
    """Add the commands."""
    new = commands.add_parser("init", help="make a new, empty log")
    options.add_log(new)
    new.add_argument("--timezone", default="UTC", metavar="ZONE", help="of the workshop, such as Europe/London")
    new.set_defaults(run=make)
    check = commands.add_parser("verify", help="check that everything in the log holds together")
    options.add_log(check)
    check.set_defaults(run=verify)


def make(arguments: argparse.Namespace) -> int:
    """Make a log."""
    log = options.log_of(arguments)
    log.create(timezone=arguments.timezone)
    print(f"{log.path} is ready. Next: qclog sheet add FILE, qclog person add NAME, qclog job open JOB CASE_TYPE")
    return 0


def verify(arguments: argparse.Namespace) -> int:
    """Run every check of sql/checks/ and say what they find."""
    from qclog.services.verifying import verify as run

    log = options.log_of(arguments)
    report = run(log)
    for check in report.checks:
        print(f"{'ok ' if not check.rows else 'BAD'}  {check.says}")
        for row in check.rows[:20]:
            print("       " + ", ".join(f"{k} {v}" for k, v in row.items() if v is not None))
    print(f"{report.entries:,} entries, {report.readings:,} readings: " + ("sound" if report.sound else "NOT sound"))
    return 0 if report.sound else 1
