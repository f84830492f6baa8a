"""An exchange folder read whole: its sheets and tables, and every problem the files themselves have."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qclog.domain.sheets.casetype_file import MAX_BYTES, read_sheet
from qclog.domain.sheets.casetypes import Sheet
from qclog.errors import FolderError, Problem, SheetError
from qclog.exchange.csv_file import read_table
from qclog.exchange.tables import BY_FILE, TABLES

UNFINISHED = ".unfinished"  # how the name of a folder ends that is still being written


@dataclass(frozen=True, slots=True)
class Folder:
    """What a folder holds. `tables` has every table of the contract; those not there are empty.

    `unread` names the tables (and `case_types`) that could not be read at all, so that what they hold isn't known.
    """

    path: Path
    sheets: tuple[tuple[str, Sheet], ...]
    tables: dict[str, pl.DataFrame]
    problems: tuple[Problem, ...]
    unread: frozenset[str] = frozenset()


def read_folder(path: Path) -> Folder:
    """Everything in the folder. FolderError if it is no folder or holds no file of an exchange folder."""
    if not path.is_dir():
        raise FolderError("there is no such folder", field="folder", found=str(path))
    if path.resolve().name.endswith(UNFINISHED):
        raise FolderError(
            "this is an export that was stopped before it was whole",
            field="folder",
            found=str(path),
            hint="export again; this folder may be deleted",
        )
    problems: list[Problem] = []
    sheets = [found for file in sorted(path.glob("case_types/*.toml")) for found in _sheet(file, problems)]
    tables: dict[str, pl.DataFrame] = {}
    unread = {"case_types"} if problems else set()
    found_any = bool(sheets or problems)
    for table in TABLES:
        file = path / table.file
        if file.is_file():
            found_any = True
            tables[table.name], faults = read_table(file, table)
            problems += faults
            if faults and tables[table.name].is_empty():
                unread.add(table.name)
        else:
            columns = dict.fromkeys(table.columns, pl.String) | {"line": pl.Int64}
            tables[table.name] = pl.DataFrame(schema=columns)
    for file in sorted(path.glob("*.csv")):
        if file.name not in BY_FILE:
            near = difflib.get_close_matches(file.name, BY_FILE, n=1)
            hint = f"did you mean {near[0]}?" if near else f"there are: {', '.join(BY_FILE)}"
            problems.append(Problem(file.name, None, None, None, f"is not a file of an exchange folder ({hint})"))
    if not found_any and not problems:
        raise FolderError(
            "the folder holds no file of an exchange folder",
            field="folder",
            found=str(path),
            hint="it holds case_types/*.toml and " + ", ".join(BY_FILE),
        )
    return Folder(path, tuple(sheets), tables, tuple(problems), frozenset(unread))


def _sheet(file: Path, problems: list[Problem]) -> list[tuple[str, Sheet]]:
    name = f"case_types/{file.name}"
    if file.stat().st_size > MAX_BYTES:
        problems.append(Problem(name, None, None, None, f"is larger than {MAX_BYTES:,} bytes"))
        return []
    try:
        return [(name, read_sheet(file.read_text(encoding="utf-8-sig"), name))]
    except UnicodeDecodeError as error:
        problems.append(Problem(name, None, None, None, f"is not UTF-8 text ({error.reason}): save it as UTF-8"))
    except SheetError as error:
        problems += error.problems
    return []
