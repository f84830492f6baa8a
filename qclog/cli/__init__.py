"""The `qclog` command. Heavy libraries are imported only by the command that needs them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from qclog.cli import (
    backup,
    change,
    chart,
    exchange,
    findings,
    gauge,
    house,
    job,
    log,
    pack,
    paper,
    person,
    read,
    sheet,
    stock,
    tour,
    trace,
)
from qclog.cli.stopping import say_stopped, stop_once
from qclog.errors import FolderError, QclogError, SheetError
from qclog.notices import told_to
from qclog.version import __version__

NOUNS = (
    tour,
    log,
    backup,
    exchange,
    sheet,
    job,
    read,
    pack,
    stock,
    chart,
    findings,
    change,
    person,
    gauge,
    house,
    trace,
    paper,
)
_CAUTION = (
    "Limits are the workshop's own; the maker's manual and competent, authorised people decide. "
    "qclog certifies nothing."
)


def build_parser() -> argparse.ArgumentParser:
    """The command line: one subcommand a job."""
    parser = argparse.ArgumentParser(
        prog="qclog",
        description="Log gearbox and differential measurements, see their limits, and trace a unit.",
        epilog=_CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"qclog {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for noun in NOUNS:
        noun.add_to(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Exit status 0 done, 1 not done, 2 bad input, 130 stopped by Ctrl-C."""
    _speak_utf8()
    if argv is None:
        stop_once()
    arguments = build_parser().parse_args(argv)
    try:
        with told_to(_tell):
            status: int = arguments.run(arguments)
            return status
    except (FolderError, SheetError) as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        print(f"qclog: {error}", file=sys.stderr)
        return 2
    except QclogError as error:
        print(f"qclog: {error}", file=sys.stderr)
        return 1 if isinstance(error, OSError) else 2
    except KeyboardInterrupt:
        return say_stopped()
    except ImportError as error:
        if not isinstance(error.__cause__, KeyboardInterrupt):  # Ctrl-C while a library was being loaded
            raise
        return say_stopped()
    except BrokenPipeError:
        sys.stderr.close()
        return 0


def _tell(sentence: str) -> None:
    print(f"qclog: {sentence}", file=sys.stderr, flush=True)


def _speak_utf8() -> None:
    """Windows consoles and pipes may default to another encoding, which has no µ or ·."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure") and (stream.encoding or "").lower() not in ("utf-8", "utf8"):
            stream.reconfigure(encoding="utf-8", errors="replace")
