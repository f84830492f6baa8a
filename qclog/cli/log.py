"""`qclog init`, `qclog verify`: a new log, and whether a log is sound."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from qclog.cli import options

if TYPE_CHECKING:
    from qclog.services.keeping.verifying import Report, ShortDigest

_MOST = 20  # rows of one kind that are printed


def add_to(commands: Any) -> None:
    """Add the commands."""
    new = commands.add_parser("init", help="make a new, empty log")
    options.add_log(new)
    new.add_argument("--timezone", default="UTC", metavar="ZONE", help="of the workshop, such as Europe/London")
    new.set_defaults(run=make)
    check = commands.add_parser("verify", help="check that everything in the log holds together")
    options.add_log(check)
    check.add_argument(
        "--written", metavar="DIGEST", help="a digest written down earlier: is what it stood for still so?"
    )
    check.set_defaults(run=verify)


def make(arguments: argparse.Namespace) -> int:
    """Make a log."""
    log = options.log_of(arguments)
    log.create(timezone=arguments.timezone)
    print(f"{log.path} is ready. Next: qclog sheet add FILE, qclog person add NAME, qclog job open JOB CASE_TYPE")
    return 0


def verify(arguments: argparse.Namespace) -> int:
    """Check the chain, the tables and what is in them, and say what is wrong."""
    from qclog.services.keeping.verifying import find_digest
    from qclog.services.keeping.verifying import verify as run

    log = options.log_of(arguments)
    report = run(log)
    _print_chain(report)
    for check in report.checks:
        print(f"{'ok ' if not check.rows else 'BAD'}  {check.says}")
        _print_rows(check.rows)
    for remark in (r for r in report.remarks if r.rows):
        print(f"look {remark.says}, n = {len(remark.rows):,} entries")
        _print_rows(remark.rows, most=3)
    print(f"{report.entries:,} entries, {report.readings:,} readings: " + ("sound" if report.sound else "NOT sound"))
    if report.digest is not None:
        print(f"digest {_digest_text(report.digest)}. Written in the day book, it shows later what was changed since.")
    if arguments.written is None:
        return 0 if report.sound else 1
    found = find_digest(log, arguments.written)
    if found is None:
        print(f"BAD  no entry has the digest {arguments.written}: what it stood for was changed or taken out")
        return 1
    print(f"ok   {_digest_text(found)} is in the log")
    return 0 if report.sound else 1


def _print_chain(report: Report) -> None:
    print(f"{'ok ' if not report.misfits else 'BAD'}  every entry is as it was entered and follows from the one before")
    if report.as_found:
        print(
            f"       entries 1 to {report.as_found} came before digests: as found when this log was brought up to date"
        )
    for misfit in report.misfits[:_MOST]:
        who = f" ({misfit.entered_by}, {misfit.entered_at:%Y-%m-%d %H:%M} UTC, {misfit.what})" if misfit.what else ""
        print(f"       entry {misfit.entry}{who}: {misfit.says}")
    _print_more(len(report.misfits))


def _print_rows(rows: list[dict[str, Any]], most: int = _MOST) -> None:
    for row in rows[:most]:
        print("       " + ", ".join(f"{k} {v}" for k, v in row.items() if v is not None))
    _print_more(len(rows), most)


def _print_more(count: int, most: int = _MOST) -> None:
    if count > most:
        print(f"       and {count - most:,} more")


def _digest_text(digest: ShortDigest) -> str:
    when = f" of {digest.entered_at:%Y-%m-%d %H:%M} UTC" if digest.entered_at is not None else ""
    return f"{digest.text}, entry {digest.entry}{when}"
