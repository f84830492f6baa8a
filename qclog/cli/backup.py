"""`qclog backup`, `qclog restore`: the whole log into another file, and back into a new log."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qclog.cli import options

if TYPE_CHECKING:
    from qclog.services.keeping.verifying import Report


def add_to(commands: Any) -> None:
    """Add the commands."""
    out = commands.add_parser("backup", help="copy the whole log, also while it is in use, and verify the copy")
    out.add_argument(
        "place", type=Path, help="a new file (.duckdb), or a folder that is there: then the file is named by the date"
    )
    out.add_argument(
        "--replace",
        action="store_true",
        help="an earlier backup of this log, or a file that is no log, may be replaced",
    )
    options.add_log(out)
    out.set_defaults(run=back_up)
    back = commands.add_parser("restore", help="make a new log from a backup, and verify it")
    back.add_argument("backup", type=Path)
    back.add_argument("--log", metavar="FILE", required=True, help="the new log, which must not be there yet")
    back.set_defaults(run=restore)


def back_up(arguments: argparse.Namespace) -> int:
    """Make a backup. Exit status 1 if what it copied does not verify."""
    from datetime import datetime

    from qclog.services.keeping import backup

    today = datetime.now().astimezone()
    kept = backup.back_up(options.log_of(arguments), arguments.place, today, replace=arguments.replace)
    print(f"{kept.path} holds {_holds(kept.report)}")
    return _verdict(kept.report, kept.path)


def restore(arguments: argparse.Namespace) -> int:
    """Make a log from a backup. Exit status 1 if it does not verify."""
    from qclog.services.keeping import backup

    kept = backup.restore(arguments.backup, options.log_of(arguments))
    print(f"{kept.path} is a log again, with {_holds(kept.report)}")
    return _verdict(kept.report, kept.path)


def _holds(report: Report) -> str:
    digest = f"; digest {report.digest.text}" if report.digest is not None else ""
    return f"{report.entries:,} entries, {report.readings:,} readings{digest}"


def _verdict(report: Report, path: Path) -> int:
    if report.sound:
        print("it is the same as the log, row for row, and verifies")
        return 0
    print(f"it is the same as what was copied, row for row, but that is NOT sound: qclog verify --log {path}")
    return 1
