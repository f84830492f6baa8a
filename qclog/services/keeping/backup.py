"""Copies of the whole log, to keep elsewhere, and back into a new log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from qclog.domain import stored
from qclog.errors import InputError, LogError, OutputError
from qclog.services.keeping.output import need_folder, need_free
from qclog.services.keeping.verifying import Report, verify
from qclog.store.kept_files import is_log, last_entry
from qclog.store.log import Log


@dataclass(frozen=True, slots=True)
class Kept:
    """A copy, where it is, and what `verify` says of it."""

    path: Path
    report: Report


def back_up(log: Log, place: Path, today: datetime, *, replace: bool = False) -> Kept:
    """Copy the log, which may be in use, to the file `place`, or into a folder (no suffix) under a name with the date.

    InputError if there is such a file and `replace` is not set, or it is a log which is no earlier state of this one.
    OutputError if the folder is not there (is the stick plugged in?), or it can't be written. The copy is compared with
    the log, row for row, before it has its name, and is then verified by itself.
    """
    if not log.exists():
        log.check()  # says how to make one
    to_folder = place.is_dir() or not place.suffix
    target = place / f"{log.path.stem}-{today:%Y-%m-%d}{log.path.suffix}" if to_folder else place
    need_folder(target, "backup")
    _need_replaceable(log, target, replace=replace)
    try:
        log.copy_to(target)
    except OSError as error:
        if isinstance(error, LogError) and error.found != target:
            raise
        why = error.message if isinstance(error, LogError) else error.strerror or str(error)
        raise OutputError(
            f"the backup can't be written: {why}",
            field="backup",
            found=target,
            hint="check that there is room and that you may write there",
        ) from error
    return Kept(target, _verify_alone(target))


def _need_replaceable(log: Log, target: Path, *, replace: bool) -> None:
    """InputError if the backup may not go to `target`: what is there must hold nothing that the log does not."""
    if target.exists() and target.samefile(log.path):
        raise InputError("this is the log itself", field="backup", found=target, hint="name another file")
    if not replace and target.exists():
        raise InputError("there is a file already", field="backup", found=target, hint="name another, or add --replace")
    if not is_log(target):
        need_free(target, "backup", replace=replace)
        return
    try:
        last = last_entry(target)
    except LogError as error:
        raise InputError(
            f"there is a log that may not be this one: {error.message}", field="backup", found=target, hint=_ELSEWHERE
        ) from error
    if last is None:
        return
    with log.reading() as use:
        mine = use.rows("entry_of_submission", stored.EntryOfSubmission, submission=last[1])
    if [row.entry for row in mine] != [last[0]]:
        raise InputError(
            "there is a log that holds what this one does not", field="backup", found=target, hint=_ELSEWHERE
        )


_ELSEWHERE = "name another file; only an earlier backup of the same log is replaced"


def restore(source: Path, log: Log) -> Kept:
    """Make the new log `log` from a backup, brought up to this qclog's schema; the backup is only read.

    LogError if there is a log already, or the backup is damaged or newer than this qclog.
    """
    if not source.is_file():
        raise InputError("there is no such backup", field="backup", found=source, hint="name the file")
    try:
        log.path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogError(
            f"the log's folder can't be made: {error.strerror or error}", field="log", found=log.path
        ) from error
    log.fill_from(source)
    return Kept(log.path, verify_new(log))


def verify_new(log: Log) -> Report:
    """Verify a log that was just made; where it can't be looked at, the LogError says that it is made all the same."""
    try:
        return verify(log)
    except LogError as error:
        raise LogError(
            f"{log.path.name} is made, whole, but could not be verified: {error.message}",
            field="log",
            found=log.path,
            hint=f"don't make it again; look with qclog verify --log {log.path}",
        ) from error


def _verify_alone(copy: Path) -> Report:
    """Verify a copy, leaving no lock file beside it."""
    try:
        return verify(Log(copy))
    finally:
        Path(f"{copy}.lock").unlink(missing_ok=True)
