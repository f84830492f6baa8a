"""Whether a log holds together: its chain of digests, its tables, and every statement in sql/checks/."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache

from qclog import resources
from qclog.domain import digests, stored
from qclog.errors import InputError, UnknownNameError
from qclog.store import chain, records, schema
from qclog.store.connecting import unread_beside
from qclog.store.log import Log, Use


@dataclass(frozen=True, slots=True)
class Check:
    """One check (or remark) and the rows it finds."""

    name: str
    says: str
    rows: list[dict[str, object]]


@dataclass(frozen=True, slots=True)
class ShortDigest:
    """Sixteen letters that stand for a log up to an entry (of `entered_at`, UTC; None for a log without entries)."""

    text: str
    entry: int
    entered_at: datetime | None


@dataclass(frozen=True, slots=True)
class Misfit:
    """An entry that does not fit the chain. Who, when and what it was are None where the entry is gone."""

    entry: int
    says: str
    entered_at: datetime | None
    entered_by: str | None
    what: str | None


@dataclass(frozen=True, slots=True)
class Report:
    """All checks of a log. `misfits` in order, the first first; `remarks` are worth a look but no fault.

    `as_found`: the last entry that was there before the chain began, and was taken as found; 0 if none was.
    """

    checks: tuple[Check, ...]
    entries: int
    readings: int
    misfits: tuple[Misfit, ...]
    remarks: tuple[Check, ...]
    as_found: int
    digest: ShortDigest | None

    @property
    def sound(self) -> bool:
        """Whether every entry fits the chain and no check found anything."""
        return not self.misfits and not any(check.rows for check in self.checks)


def verify(log: Log) -> Report:
    """Look at the whole chain, the tables' constraints and every check. LogError if the log can't be opened."""
    with log.reading("verify") as use:
        misfits = tuple(_misfit(use, fault) for fault in chain.faults(use.connection))
        altered = schema.differences(use.connection)
        tables = Check("tables_are_as_made", "tables and their constraints are as made", altered)
        keys = Check("keys_find_their_rows", "keys find their rows", [] if altered else use.rows_no_key_finds())
        checks = (tables, keys, *(_run(use, name, "checks") for name in _names("checks")))
        remarks = (_kept_aside(log), *(_run(use, name, "remarks") for name in _names("remarks")))
        entries = use.rows("revision", stored.Revision)[0].revision
        readings = use.rows("counts", stored.Counts)[0].readings
        as_found = max((row.entry for row in use.rows("digests", stored.Digest) if row.how == "as found"), default=0)
        digest = _last(use)
    return Report(checks, entries, readings, misfits, remarks, as_found, digest)


def misfits_of(log: Log) -> tuple[Misfit, ...]:
    """Every entry that does not fit the chain of digests, in order; none for a sound log."""
    with log.reading("verify") as use:
        return tuple(_misfit(use, fault) for fault in chain.faults(use.connection))


def _kept_aside(log: Log) -> Check:
    names: list[dict[str, object]] = [{"file": name} for name in unread_beside(log.path)]
    return Check("write_ahead_file_not_read", "a write-ahead file that a crash left could not be read", names)


@cache
def _names(folder: str) -> tuple[str, ...]:
    return tuple(sorted(file.stem for file in (resources.folder("sql") / folder).glob("*.sql")))


def _run(use: Use, name: str, folder: str) -> Check:
    return Check(name, name.replace("_", " "), use.found_by(folder, name))


def _misfit(use: Use, fault: chain.Fault) -> Misfit:
    row = next(iter(use.rows("entry_by_number", stored.EntryByNumber, entry=fault.entry)), None)
    at, by, what = (None, None, None) if row is None else (row.entered_at, row.entered_by, row.what)
    return Misfit(fault.entry, fault.says, at, by, what)


def _last(use: Use) -> ShortDigest | None:
    row = next(iter(use.rows("last_digest", stored.LastDigest)), None)
    return None if row is None else ShortDigest(digests.short(row.digest), row.entry, row.entered_at)


def short_digest(log: Log) -> ShortDigest:
    """The digest of the log as it stands, to write in the day book. It is looked up, not worked out again."""
    with log.reading() as use:
        found = _last(use)
    if found is None:
        raise UnknownNameError("the log has no digest", field="log", found=log.path, hint="run qclog verify")
    return found


def job_digest(log: Log, job: str) -> ShortDigest:
    """The digest of the last entry that said anything of `job`, for its build record. UnknownNameError if not there."""
    with log.reading() as use:
        records.need(use, "job", "job", job, "job")
        rows = use.rows("job_digest", stored.JobDigest, job=job)
    if not rows:
        raise UnknownNameError("the job's last entry has no digest", field="job", found=job, hint="run qclog verify")
    return ShortDigest(digests.short(rows[0].digest), rows[0].entry, rows[0].entered_at)


def find_digest(log: Log, written: str) -> ShortDigest | None:
    """The entry whose digest was written down; None if no entry has it (any more). InputError if it can't be one."""
    text = digests.read_short(written)
    if text is None:
        raise InputError(
            "a digest is sixteen letters and digits in groups of four",
            field="written",
            found=written,
            hint="copy it as it stands in the day book, for example 7K2M-0QXV-93HD-AW5T",
        )
    with log.reading() as use:
        for row in use.rows("digests", stored.Digest):
            if digests.short(row.digest) == text:
                return ShortDigest(text, row.entry, row.entered_at)
    return None
