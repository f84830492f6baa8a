"""An exchange folder into the log: all or nothing, with every problem reported at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qclog.domain import stored
from qclog.domain.rights import Act
from qclog.errors import FolderError, Problem, RightsError
from qclog.exchange.folder import Folder, read_folder
from qclog.services.exchange.import_details import check_details
from qclog.services.exchange.import_life import check_life
from qclog.services.exchange.import_readings import check_readings
from qclog.services.exchange.import_snapshot import Snapshot, take_snapshot
from qclog.services.exchange.import_stock import check_stock
from qclog.services.exchange.import_strikes import check_strikes, store_strikes
from qclog.services.exchange.import_tables import Known, check_tables, known_in
from qclog.services.keeping import rights
from qclog.store import records
from qclog.store.log import Log, Submission, Use

_TRIES_BESIDE_OTHERS = 3
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
        added = _append(log, folder, submission, tell)
    except _NothingNew:
        added = dict.fromkeys(counts, 0)
    except BaseException:  # Ctrl-C and a full disk too must leave no empty log behind
        if made:
            log.remove_empty()
        raise
    already = {name: max(0, count - added.get(name, 0)) for name, count in counts.items()}
    return Imported(tuple(added.items()), tuple(already.items()))


def _append(log: Log, folder: Folder, submission: Submission, tell: Callable[[str], None]) -> dict[str, int]:
    """Check against the log as it is, and append if it still is so; others use it while the checks run.

    Where others come between each time, the last check is made with the log held.
    """
    for _ in range(_TRIES_BESIDE_OTHERS):
        with log.reading() as use:
            seen = take_snapshot(use, folder)
        plan = _check(seen, folder, tell)
        try:
            with log.writing(submission) as use:
                if use.entry != seen.next_entry:
                    raise _MovedOn
                return _store(use, plan, submission.by, tell)
        except _MovedOn:
            tell("others have used the log meanwhile: checking again")
    with log.writing(submission) as use:
        return _store(use, _check(take_snapshot(use, folder), folder, tell), submission.by, tell)


@dataclass(frozen=True, slots=True)
class _Plan:
    """What is to be added, checked."""

    known: Known
    readings: pl.DataFrame
    others: dict[str, pl.DataFrame]
    strikes: pl.DataFrame


def _check(seen: Snapshot, folder: Folder, tell: Callable[[str], None]) -> _Plan:
    """Everything checked; FolderError with every problem."""
    tell(f"checking {len(folder.tables['readings']):,} readings")
    known = known_in(seen)
    problems = check_tables(folder, known)
    ready, faults = check_readings(seen, folder.tables["readings"], known)
    stock, short = check_stock(seen, folder, known)
    life, unsaid = check_life(seen, folder, known)
    details, unclear = check_details(seen, folder, known)
    strikes, missed = check_strikes(seen, folder, known, ready)
    _refuse(folder, problems + faults + short + unsaid + unclear + missed)
    return _Plan(known, ready, stock | life | details, strikes)


def _store(use: Use, plan: _Plan, by: str, tell: Callable[[str], None]) -> dict[str, int]:
    """Add what is planned; how many rows of each table of the folder."""
    if plan.known.entry != use.entry:
        raise RuntimeError(f"checked for entry {plan.known.entry}, not {use.entry}")
    barred = _why_barred(use, by)
    tell("storing")
    added = _store_tables(use, plan.known, plan.readings)
    for name, frame in plan.others.items():
        use.insert_frame(name, frame)
    rows = {name: len(frame) for name, frame in plan.others.items()}
    added |= {
        "shim_stock": max(rows["shim_size"], rows["shim_minimum"]),
        "shim_movements": rows["shim_movement"],
        "finding_notes": rows["finding_note"],
        "changes": rows["change"],
        "person_changes": rows["person_detail"],
        "gauge_details": rows["gauge_detail"],
        "comeback_details": rows["comeback_detail"],
        "house_details": rows["house_detail"],
        "strikes": store_strikes(use, plan.strikes),
    }
    if not any(added.values()):
        raise _NothingNew
    if barred is not None:
        raise barred
    tell("sealing the entry")
    return added


def _why_barred(use: Use, by: str) -> RightsError | None:
    if not any(row.person == by for row in use.rows("people_now", stored.PersonNow)):
        return None
    try:
        rights.need(use, by, Act.IMPORT)
    except RightsError as error:
        return error
    return None


class _MovedOn(Exception):  # noqa: N818 - the checks are made again; not an error
    """Someone else's entry came between the checks and the storing."""


class _NothingNew(Exception):  # noqa: N818 - rolls the empty transaction back; not an error
    """The log has everything that the folder holds."""


def _refuse(folder: Folder, problems: list[Problem]) -> None:
    everything = [*folder.problems, *problems]
    if everything:
        many = "1 problem" if len(everything) == 1 else f"{len(everything):,} problems"
        ordered = sorted(everything, key=lambda p: (p.file, p.line or 0, p.column or ""))
        raise FolderError(f"{many}; nothing was imported", tuple(ordered))


def _store_tables(use: Use, known: Known, readings: pl.DataFrame) -> dict[str, int]:
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


_table_of = {
    "person": "people",
    "gauge": "gauges",
    "gauge_check": "gauge_checks",
    "job": "jobs",
    "job_detail": "jobs",
    "part": "parts",
}
