"""Files written for people: whole, or a plain error and nothing left behind."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from qclog.errors import InputError, OutputError
from qclog.exchange.folder import UNFINISHED


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Gives the name to write to, which becomes `path` once it is whole. OutputError if it can't be written."""
    part = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield part
        part.replace(path)
    except OSError as error:
        raise _cannot_write("file", path, error) from error
    finally:
        with suppress(OSError):  # where nothing could be written there is nothing to take away
            part.unlink(missing_ok=True)


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """Gives the folder to write into, which becomes `path` once it is whole: a kill leaves none that looks whole.

    InputError if it is there with something in it; OutputError if it can't be written.
    """
    part = path.with_name(f".{path.name}{UNFINISHED}")
    try:
        if path.is_dir() and any(path.iterdir()):
            raise InputError("the folder is not empty", field="folder", found=path, hint="name a new one")
        if part.exists():
            shutil.rmtree(part)
        part.mkdir(parents=True)
        yield part
        if path.is_dir():
            path.rmdir()
        part.rename(path)
    except OSError as error:
        raise _cannot_write("folder", path, error) from error
    finally:
        with suppress(OSError):  # where nothing could be written there is nothing to take away
            shutil.rmtree(part, ignore_errors=True)


def _cannot_write(what: str, path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"the {what} can't be written: {error.strerror or error}",
        field=what,
        found=path,
        hint="check that there is room and that you may write there",
    )
