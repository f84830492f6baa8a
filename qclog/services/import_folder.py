"""An exchange folder into the log: all or nothing, with every problem reported at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qclog.domain.rights import Act
from qclog.errors import FolderError, Problem, RightsError
from qclog.exchange.folder import Folder, read_folder
from qclog.services import rights
from qclog.services.import_life import check_life
from qclog.services.import_readings import check_readings
from qclog.services.import_stock import check_stock
from qclog.services.import_strikes import check_strikes, store_strikes
from qclog.services.import_tables import Known, check_tables, known_in
from qclog.store import records
from qclog.store.log import Log, Submission, Use

NOUNS = {"case_types": "case-type sheets", "shim_stock": "shim sizes"}


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import added, and what the log had already, as (table, rows)."""

    added: tuple[tuple[str, int], ...]
    already: tuple[tuple[str, int], ...]

    @property
    def nothing_new(self) -> bool:
        """Whether the log had everything."""
        return not any(count for _, count in self.added)


def import_folder(
    log: Log,
    path: Path,
    submission: Submission,
    *,
    timezone: str = "UTC",
    tell: Callable[[str], None] = lambda _step: None,
) -> Imported:
    """Add everything in the folder to the log, which is made (with `timezone`) if it isn't there.

    `tell` is told each step as it begins. A person of the log needs the right to manage it; the account of a machine,
    which is no person of the log, is taken at its word, since it could write to the file itself.

    Raises FolderError with every problem of every file; then nothing is added.
    """
    tell(f"reading {path}")
    folder = read_folder(path)
    counts = {"case_types": len(folder.sheets)} | {name: len(rows) for name, rows in folder.tables.items()}
    made = not log.exists()
    if made:
        log.create(timezone=timezone)
    try:
        with log.writing(submission) as use:
            barred = _why_barred(use, submission.by)
            known = known_in(use)
            tell(f"checking {len(folder.tables['readings']):,} readings")
            problems = check_tables(folder, known)
            ready, faults = check_readings(use, folder.tables["readings"], known)
            stock, short = check_stock(use, folder, known)
            life, unsaid = check_life(use, folder, known)
            strikes, missed = check_strikes(use, folder, known, ready)
            _refuse(folder, problems + faults + short + unsaid + missed)
            tell("storing")
            added = _store(use, known, ready) | _store_stock(use, stock) | _store_life(use, life)
            added["strikes"] = store_strikes(use, strikes)
            if not any(added.values()):
                raise _NothingNew
            if barred is not None:
                raise barred
            tell("sealing the entry")
    except _NothingNew:
        added = dict.fromkeys(counts, 0)
    except BaseException:  # Ctrl-C and a full disk too must leave no empty log behind
        if made:
            log.remove_empty()
        raise
    already = {name: max(0, count - added.get(name, 0)) for name, count in counts.items()}
    return Imported(tuple(added.items()), tuple(already.items()))


def _why_barred(use: Use, by: str) -> RightsError | None:
    if not any(row["person"] == by for row in use.rows("people_now")):
        return None
    try:
        rights.need(use, by, Act.IMPORT)
    except RightsError as error:
        return error
    return None


class _NothingNew(Exception):  # noqa: N818 - rolls the empty transaction back; not an error
    """The log has everything that the folder holds."""


def _refuse(folder: Folder, problems: list[Problem]) -> None:
    everything = [*folder.problems, *problems]
    if everything:
        many = "1 problem" if len(everything) == 1 else f"{len(everything):,} problems"
        ordered = sorted(everything, key=lambda p: (p.file, p.line or 0, p.column or ""))
        raise FolderError(f"{many}; nothing was imported", tuple(ordered))


def _store(use: Use, known: Known, readings: pl.DataFrame) -> dict[str, int]:
    for sheet, since in known.new_sheets:
        records.add_sheet(use, sheet, since)
    added = {"case_types": len(known.new_sheets)}
    for name in ("person", "gauge", "gauge_check", "job", "job_detail", "part"):
        frame = known.new_rows.get(name, pl.DataFrame())
        use.insert_frame(name, frame)
        added[_table_of[name]] = added.get(_table_of[name], 0) + (0 if name == "job_detail" else len(frame))
        if name == "job_detail" and not len(known.new_rows.get("job", pl.DataFrame())):
            added["jobs"] += frame["job"].n_unique() if len(frame) else 0
    use.insert_frame("reading", readings)
    added["readings"] = len(readings)
    frame = known.new_rows.get("comeback", pl.DataFrame())
    use.insert_frame("comeback", frame)
    added["comebacks"] = len(frame)
    return added


def _store_stock(use: Use, frames: dict[str, pl.DataFrame]) -> dict[str, int]:
    for name, frame in frames.items():
        use.insert_frame(name, frame)
    sizes = max(len(frames["shim_size"]), len(frames["shim_minimum"]))
    return {"shim_stock": sizes, "shim_movements": len(frames["shim_movement"])}


def _store_life(use: Use, frames: dict[str, pl.DataFrame]) -> dict[str, int]:
    for name, frame in frames.items():
        use.insert_frame(name, frame)
    return {
        "finding_notes": len(frames["finding_note"]),
        "changes": len(frames["change"]),
        "person_changes": len(frames["person_detail"]),
    }


_table_of = {
    "person": "people",
    "gauge": "gauges",
    "gauge_check": "gauge_checks",
    "job": "jobs",
    "job_detail": "jobs",
    "part": "parts",
}
