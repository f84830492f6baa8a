"""`qclog import`, `qclog export`: exchange folders in and out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qclog.cli import options

if TYPE_CHECKING:
    from qclog.store.log import Log


def add_to(commands: Any) -> None:
    """Add the commands."""
    into = commands.add_parser("import", help="add an exchange folder to the log, all of it or nothing")
    into.add_argument("folder", type=Path)
    options.add_log(into)
    options.add_by(into)
    into.add_argument(
        "--timezone", default="UTC", metavar="ZONE", help="of the workshop, if this makes a new log (default UTC)"
    )
    into.set_defaults(run=bring_in)
    out = commands.add_parser("export", help="write the whole log as an exchange folder")
    out.add_argument("folder", type=Path)
    out.add_argument(
        "--parquet", action="store_true", help="every table as it is stored, as Parquet with a datapackage.json"
    )
    options.add_log(out, earlier=True)
    out.set_defaults(run=bring_out)


def bring_in(arguments: argparse.Namespace) -> int:
    """Import a folder."""
    from qclog.services.exchange.import_folder import NOUNS, import_folder
    from qclog.services.exchange.parquet_copy import is_parquet_copy

    log = options.log_of(arguments)
    if is_parquet_copy(arguments.folder):
        return _bring_in_parquet(arguments, log)
    submission = options.submission_of(arguments, f"import of {arguments.folder.name}", via="import")
    done = import_folder(log, arguments.folder, submission, timezone=arguments.timezone, tell=options.tell_step)
    if done.nothing_new:
        print(f"nothing new: {log.path} has everything in {arguments.folder}")
        return 0
    for table, count in done.added:
        already = dict(done.already)[table]
        if count or already:
            print(
                f"{NOUNS.get(table, table.replace('_', ' ')):<16} {count:>9,} added"
                + (f", {already:,} there already" if already else "")
            )
    return 0


def _bring_in_parquet(arguments: argparse.Namespace, log: Log) -> int:
    from qclog.services.exchange.parquet_copy import import_parquet

    report = import_parquet(log, arguments.folder)
    print(f"{log.path} is a log again, with {report.entries:,} entries and {report.readings:,} readings")
    if not report.sound:
        print(f"what was copied is NOT sound: qclog verify --log {log.path}")
    return 0 if report.sound else 1


def bring_out(arguments: argparse.Namespace) -> int:
    """Export the log."""
    from qclog.services.exchange.export_folder import export_folder
    from qclog.services.exchange.parquet_copy import export_parquet

    write = export_parquet if arguments.parquet else export_folder
    for file, count in write(options.log_of(arguments), arguments.folder):
        print(f"{file:<28} {count:>9,} rows")
    if arguments.parquet:
        print("It holds everything, people's hashed PINs too: keep it as you keep a backup.")
    return 0
