"""Files written for people: whole or not at all, never over a log, and over nothing else unasked.

Everything that a command writes goes through here, so that one rule holds for all of it.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from secrets import token_hex

from qclog.errors import InputError, OutputError
from qclog.exchange.folder import UNFINISHED
from qclog.store.kept_files import is_log


@contextmanager
def new_file(path: Path, *, replace: bool = False) -> Iterator[Path]:
    """Gives the name to write to, which becomes `path` once it is whole.

    InputError if `path` is a log, or anything that is there unless `replace` says that it may go. OutputError if the
    folder is not there, or it can't be written.
    """
    check_file(path, replace=replace)
    part = path.with_name(f".{path.stem}.{token_hex(4)}.part{path.suffix}")
    try:
        yield part
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        _give_name(part, path, replace=replace)
    except OSError as error:
        raise _cannot_write("file", path, error) from error
    finally:
        with suppress(OSError):  # where nothing could be written there is nothing to take away
            part.unlink(missing_ok=True)


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """Gives the folder to write into, which becomes `path` once it is whole: a kill leaves none that looks whole.

    InputError if it is there with something in it. OutputError if there is no folder round it, or it can't be written.
    """
    part = path.with_name(f".{path.name}{UNFINISHED}")
    try:
        check_folder(path)
        if part.exists():
            shutil.rmtree(part)
        part.mkdir()
        yield part
        if path.is_dir():
            path.rmdir()
        part.rename(path)
    except OutputError:
        raise
    except OSError as error:
        raise _cannot_write("folder", path, error) from error
    finally:
        with suppress(OSError):  # where nothing could be written there is nothing to take away
            shutil.rmtree(part, ignore_errors=True)


def check_file(path: Path, *, replace: bool = False) -> None:
    """What `new_file` checks first, for before long work. The same errors."""
    need_folder(path, "file")
    need_free(path, "file", replace=replace)


def check_folder(path: Path) -> None:
    """What `new_folder` checks first, for before long work. The same errors."""
    need_folder(path, "folder")
    if os.path.lexists(path) and (not path.is_dir() or any(path.iterdir())):
        what = "the folder is not empty" if path.is_dir() else "there is a file of that name"
        raise InputError(what, field="folder", found=path, hint="name a new one")


def need_folder(path: Path, field: str) -> None:
    """OutputError unless the folder that `path` would lie in is there: one is never made, for a disk may be missing."""
    if not path.parent.is_dir():
        raise OutputError(
            f"the {field} can't be written: there is no folder {path.parent}",
            field=field,
            found=path,
            hint="make it first; if it is on a stick or another disk, see that it is plugged in",
        )


def need_free(path: Path, field: str, *, replace: bool) -> None:
    """InputError if `path` is a log, is no ordinary file, or is there and `replace` does not say that it may go."""
    if not os.path.lexists(path):
        return
    if is_log(path):
        raise InputError("that is a log, which nothing is written over", field=field, found=path, hint="name another")
    if not path.is_symlink() and not stat.S_ISREG(path.lstat().st_mode):
        raise InputError("there is a folder or device of that name", field=field, found=path, hint="name another")
    if not replace:
        raise InputError("there is a file already", field=field, found=path, hint="name another, or add --replace")


def _give_name(part: Path, path: Path, *, replace: bool) -> None:
    """Rename, and where nothing may go, not even over what came to be there while it was written."""
    if replace:
        part.replace(path)
        return
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a stick whose file system has no links
        if os.path.lexists(path):
            raise FileExistsError(17, "there is a file already") from None
        part.rename(path)


def _cannot_write(what: str, path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"the {what} can't be written: {error.strerror or error}",
        field=what,
        found=path,
        hint="check that there is room and that you may write there",
    )
