"""What DuckDB and the operating system say when a log can't be used, in words that help."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from qclog.errors import LogBusyError, LogDamagedError, LogError, LogVersionError


def why_not_opened(path: Path, error: duckdb.Error) -> LogError:
    text = str(error)
    if _says(text, FULL):
        return _no_room(path)
    if is_held_elsewhere(error):
        return LogBusyError(
            "another program has the log open",
            field="log",
            found=path,
            hint="close the database tool that holds it, then try again",
        )
    if "newer version" in text or "version number" in text.lower() or "Serialization" in type(error).__name__:
        return LogVersionError(
            f"the log's file format is not one this DuckDB ({duckdb.__version__}) reads",
            field="log",
            found=path,
            hint="install a newer duckdb; the log has not been touched",
        )
    if not os.access(path, os.R_OK | os.W_OK):
        return LogError("the log may not be read and written by you", field="log", found=path)
    return LogDamagedError(
        "this is not a log, or it is damaged",
        field="log",
        found=path,
        hint="the file has not been touched; restore the last backup under another name",
    )


def is_held_elsewhere(error: Exception) -> bool:
    """Whether another process has the file open (the words of Linux and macOS, and of Windows)."""
    text = str(error).lower()
    return any(words in text for words in ("could not set lock", "conflicting lock", "being used by another process"))


FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)  # a full disk, a quota, a limit on files
SHUT = (errno.EACCES, errno.EPERM, errno.EROFS)


def _says(text: str, numbers: tuple[int, ...]) -> str | None:
    """Which of the operating system's reasons DuckDB's message names."""
    return next((os.strerror(n) for n in numbers if os.strerror(n).lower() in text.lower()), None)


def says_damaged(error: Exception) -> bool:
    """Whether DuckDB met bytes that are not as it wrote them, or an end where there should be none."""
    first = str(error).splitlines()[0].lower() if str(error) else ""
    return "could not read" in first or "corrupt" in first


def _no_room(path: Path) -> LogError:
    return LogError(
        "there is no room left on the disk",
        field="log",
        found=path,
        hint="make room and do this step again; what was stored before it is safe",
    )


def why_not_written(path: Path, error: Exception) -> LogError:
    if _says(str(error), FULL):
        return _no_room(path)
    shut = _says(str(error), SHUT)
    if shut:
        return LogError(
            f"the log may not be written: {shut}",
            field="log",
            found=path,
            hint="nothing of this step was stored; keep the log in a folder you may write to",
        )
    first = str(error).splitlines()[0]
    if says_damaged(error):
        return LogDamagedError(
            "the log is damaged or cut short",
            field="log",
            found=path,
            hint="the file has not been touched; restore the last backup under another name",
        )
    return LogError(
        f"the log could not be used: {first}",
        field="log",
        found=path,
        hint="nothing of this step was stored; check that the disk has room and may be written",
    )


@contextmanager
def telling_of(target: Path) -> Iterator[None]:
    """Failures while `target` is written, as a LogError that names it."""
    try:
        yield
    except duckdb.Error as error:
        raise why_not_written(target, error) from error
    except OSError as error:
        if isinstance(error, LogError):
            raise
        raise LogError(f"can't be written: {error.strerror or error}", field="log", found=target) from error
