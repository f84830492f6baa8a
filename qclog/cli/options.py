"""Options that many commands share, and what they stand for."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from qclog import notices
from qclog.errors import InputError

if TYPE_CHECKING:
    from qclog.store.log import Log, Submission

DEFAULT_LOG = "workshop.duckdb"
LOG_VARIABLE = "QCLOG_LOG"
PERSON_VARIABLE = "QCLOG_PERSON"


def any_of(choices: Sequence[str]) -> str:
    """The words of a closed set, for a line of help."""
    return f"{', '.join(choices[:-1])} or {choices[-1]}"


def add_log(parser: argparse.ArgumentParser, *, earlier: bool = False) -> None:
    """--log FILE; with `earlier`, also --as-of for what can be asked of the log as it stood."""
    if earlier:
        parser.add_argument(
            "--as-of", metavar="WHEN", help="the log as it stood: at an entry (412) or on a day (2026-03-14)"
        )
    parser.add_argument(
        "--log",
        metavar="FILE",
        help=f"the log (default: ${LOG_VARIABLE}, else {DEFAULT_LOG} in this folder)",
    )


def add_by(parser: argparse.ArgumentParser) -> None:
    """--by NAME."""
    parser.add_argument("--by", metavar="NAME", help=f"who is doing this (default: ${PERSON_VARIABLE})")


def add_replace(parser: argparse.ArgumentParser) -> None:
    """--replace."""
    parser.add_argument("--replace", action="store_true", help="a file that is there may be replaced; a log never is")


def log_of(arguments: argparse.Namespace) -> Log:
    """The log that the command works on."""
    from qclog.store.log import Log

    log = Log(Path(arguments.log or os.environ.get(LOG_VARIABLE) or DEFAULT_LOG))
    if not getattr(arguments, "as_of", None):
        return log
    from qclog.services.keeping import earlier

    log = earlier.as_of(log, arguments.as_of)
    notices.tell(earlier.as_of_words(log))
    return log


def day_of(name: str, text: str | None) -> date | None:
    """The day that an option says, None where it was not given; InputError, which names it, for what is no day."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError("this is no day", field=name, found=text, hint="write it as 2026-03-14") from error


def person_of(arguments: argparse.Namespace) -> str:
    """The named person the command acts for; InputError if nobody is named."""
    name = arguments.by or os.environ.get(PERSON_VARIABLE)
    if not name:
        raise InputError(
            "say who is doing this", field="by", hint=f"add --by NAME, or set {PERSON_VARIABLE} once for this bench"
        )
    return str(name)


def named_person(arguments: argparse.Namespace) -> str | None:
    """The person named, or nobody."""
    return arguments.by or os.environ.get(PERSON_VARIABLE) or None


def submission_of(arguments: argparse.Namespace, what: str, *, via: str = "terminal") -> Submission:
    """Who does it, by the terminal; the account's name where nobody is named."""
    from qclog.store.log import Submission

    name = arguments.by or os.environ.get(PERSON_VARIABLE) or _account()
    return Submission(str(name), via, what)  # type: ignore[arg-type] # one of the ways of log.Via


def tell_step(step: str) -> None:
    """Say what long work is at, to a person watching and never into a pipe. Ctrl-C leaves nothing half done."""
    if sys.stderr.isatty():
        print(f"{step} ... (Ctrl-C stops it safely)", file=sys.stderr, flush=True)


def _account() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unnamed"
