"""`qclog sheet`: case-type sheets checked, added, listed and shown."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from qclog.cli import options
from qclog.errors import InputError
from qclog.words.numbers import limits_text


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("sheet", help="case-type sheets: check, add, list, show")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    check = actions.add_parser("check", help="report every problem of a sheet with the line it is on")
    check.add_argument("file", type=Path)
    check.set_defaults(run=check_file)
    add = actions.add_parser("add", help="add a sheet, or a new version of one, to the log")
    add.add_argument("file", type=Path)
    options.add_log(add)
    options.add_by(add)
    add.set_defaults(run=add_file)
    listing = actions.add_parser("list", help="the case types of the log")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)
    show = actions.add_parser("show", help="what a case type's sheet asks for")
    show.add_argument("case_type")
    options.add_log(show, earlier=True)
    show.set_defaults(run=show_one)


def _read(file: Path) -> Any:
    from qclog.domain.sheets.casetype_file import read_sheet

    try:
        return read_sheet(file.read_text(encoding="utf-8-sig"), file.name)
    except UnicodeDecodeError as error:
        raise InputError("the sheet is not UTF-8 text", field="file", found=file, hint="save it as UTF-8") from error
    except OSError as error:
        raise InputError(f"the sheet can't be read: {error.strerror}", field="file", found=file) from error


def check_file(arguments: argparse.Namespace) -> int:
    """Check a sheet."""
    sheet = _read(arguments.file)
    derived = len(sheet.derived())
    read = len(sheet.measured())
    print(f"{arguments.file.name}: {sheet.code} version {sheet.version} is sound: {read} read, {derived} worked out")
    return 0


def add_file(arguments: argparse.Namespace) -> int:
    """Add a sheet to the log."""
    from qclog.services.keeping import sheets

    sheet = _read(arguments.file)
    submission = options.submission_of(arguments, f"sheet {sheet.code} {sheet.version}")
    print(sheets.add(options.log_of(arguments), sheet, submission))
    return 0


def list_all(arguments: argparse.Namespace) -> int:
    """List case types."""
    from qclog.cli.columns import print_columns
    from qclog.services.keeping import sheets

    rows = sheets.overview(options.log_of(arguments))
    print_columns(
        ("case type", "name", "family", "version", "jobs"),
        [(r.sheet.code, r.sheet.name, r.sheet.family, r.sheet.version, r.jobs) for r in rows],
        right=("jobs",),
    )
    return 0


def show_one(arguments: argparse.Namespace) -> int:
    """Show a sheet."""
    from qclog.cli.columns import print_columns
    from qclog.services.keeping import sheets

    log = options.log_of(arguments)
    sheet = sheets.latest_of(log, arguments.case_type)
    print(f"{sheet.code}  {sheet.name}  (family {sheet.family}, version {sheet.version})")
    if sheet.caution:
        print(f"Caution: {sheet.caution}")
    rows = []
    for c in sheet.characteristics:
        limits = "; ".join(f"{name} {limits_text(limits)}" for name, limits in c.limits)
        how = f"= {c.formula}" if c.derived else ", ".join(c.positions)
        rows.append((c.code, c.name, c.unit, ", ".join(c.stages), limits, how))
    print_columns(("code", "characteristic", "unit", "stages", "limits", "positions or formula"), rows)
    return 0
