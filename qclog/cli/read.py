"""`qclog read JOB`: one reading, or a guided run through what the sheet wants, left and resumed at any point."""

from __future__ import annotations

import argparse
import signal
import sys
from typing import TYPE_CHECKING, Any

from qclog.cli import options
from qclog.errors import InputError, QclogError

if TYPE_CHECKING:
    from qclog.services.capture import Circumstances, Taken
    from qclog.services.jobs import Wanted
    from qclog.store.log import Log

_HELP = (
    "Type what you read: 16, 15/16 (15 goes, 16 does not), 0.41 mm, not accessible.\n"
    "Enter alone: skip this place for now.  fix NEW: correct the last one.  ?: this help.  quit: leave; run the\n"
    "same command again to go on where you stopped."
)


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "read",
        help="log readings of a job: one at once, or guided through what is wanted",
        epilog="Without a characteristic, you are asked for each place still wanted.",
    )
    parser.add_argument("job")
    parser.add_argument("characteristic", nargs="?")
    parser.add_argument("reading", nargs="?", help="what the bench says: 16, '0.41 mm', 15/16, 'not accessible'")
    parser.add_argument("--stage", help="as_found, trial, final or return (default: the only one, else final)")
    parser.add_argument("--position", default="")
    parser.add_argument("--gauge")
    parser.add_argument("--conditions", default="", help="words separated by spaces: 'oiled rotating'")
    parser.add_argument("--note")
    parser.add_argument("--taken", metavar="TIME", help="when it was read (default: now)")
    parser.add_argument("--correct", type=int, metavar="TRY", help="replace that attempt at this place")
    parser.add_argument("--strike", type=int, metavar="TRY", help="strike out that attempt at this place")
    parser.add_argument("--reason", default="", help="why it is corrected or struck out")
    options.add_log(parser)
    options.add_by(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Store one reading, or guide through the rest."""
    if arguments.characteristic is None:
        return _guide(arguments)
    if arguments.reading is None and arguments.strike is None:
        raise InputError("what was read?", field="reading", hint="give it after the characteristic")
    return _one(arguments)


def _circumstances(arguments: argparse.Namespace, log: Log) -> Circumstances:
    from qclog.domain.moments import read_moment
    from qclog.services import sheets
    from qclog.services.capture import Circumstances

    taken = None
    if arguments.taken:
        with log.reading() as use:
            taken = read_moment(arguments.taken, sheets.timezone_of(use))
    return Circumstances(
        options.person_of(arguments), arguments.gauge, taken, tuple(arguments.conditions.split()), arguments.note
    )


def _one(arguments: argparse.Namespace) -> int:
    from qclog.services import capture, jobs

    log = options.log_of(arguments)
    how = _circumstances(arguments, log)
    stage = arguments.stage or _usual_stage(jobs.tell(log, arguments.job).sheet, arguments.characteristic)
    place = capture.Place(arguments.job, arguments.characteristic, stage, arguments.position)
    submission = options.submission_of(arguments, f"reading of job {arguments.job}")
    if arguments.strike is not None:
        capture.strike(log, place, arguments.strike, arguments.reason, how.technician, submission)
        print(f"struck out; it stays in the log: {arguments.reason}")
        return 0
    if arguments.correct is not None:
        taken = capture.correct(log, place, arguments.correct, arguments.reading, arguments.reason, how, submission)
    else:
        taken = capture.take(log, place, arguments.reading, how, submission)
    _say(taken, log)
    return 0


def _usual_stage(sheet: Any, code: str) -> str:
    stages = sheet.characteristic(code).stages
    return "final" if "final" in stages else str(stages[-1])


def _say(taken: Taken, log: Log) -> None:
    """Read back what was stored, how it stands, and any question."""
    from qclog.services import history, wording

    characteristic = history.characteristic_of(log, taken.place)
    parts = [taken.read_back, wording.verdict_text(taken.verdict, characteristic)]
    parts.append(history.standing(log, taken))
    print("  " + "; ".join(p for p in parts if p))
    if taken.verdict.out:
        print(f"  ! limits: {wording.asked_text(characteristic, taken.verdict)}. Stored as read.")
    if taken.doubt is not None:
        print(f"  ? {taken.doubt.question}")
        print("    Stored as said. If it was mistyped: fix NEW (or --correct with --reason).")


def _guide(arguments: argparse.Namespace) -> int:
    from qclog.services import jobs

    log = options.log_of(arguments)
    how = _circumstances(arguments, log)
    story = jobs.tell(log, arguments.job)
    left = [w for w in story.missing if arguments.stage in (None, w.place.stage)]
    total = len(story.wanted)
    print(f"Job {arguments.job}, {story.sheet.name}: {total - len(story.missing)} of {total} places read.")
    if story.sheet.caution:
        print(f"Caution: {story.sheet.caution}")
    if not left:
        print("Nothing more is wanted.")
        return 0
    print(_HELP)
    skipped = _ask_each(arguments, log, how, left)
    if skipped:
        print(f"{skipped} still wanted: run the same command again.")
    return 0


def _ask_each(arguments: argparse.Namespace, log: Log, how: Circumstances, left: list[Wanted]) -> int:
    """Ask for every place; how many were left without a reading."""
    shown = None
    skipped = 0
    for at, wanted in enumerate(left):
        heading = (wanted.characteristic.code, wanted.place.stage)
        if heading != shown:
            shown = heading
            _print_heading(wanted)
        while True:
            text = _ask(wanted)
            if text is None:
                return skipped + len(left) - at
            if text == "":
                skipped += 1
                break
            if text in ("?", "help"):
                print(_HELP)
                continue
            if _store(arguments, log, how, wanted, text):
                break
    return skipped


def _print_heading(wanted: Wanted) -> None:
    from qclog.domain.jobs import STAGE_WORDS
    from qclog.services.sheets import limits_text

    c = wanted.characteristic
    print(f"\n{c.name} ({STAGE_WORDS[wanted.place.stage]}), in {' or '.join(c.words) if c.in_words else c.unit}")
    said = c.limit_set(wanted.place.stage, None)
    if said:
        print(f"  limits: {limits_text(said[1])} {c.unit}")
    if c.view:
        print(f"  {c.view}")
    if c.conditions:
        print(f"  record: {', '.join(c.conditions).replace('|', ' or ')}")
    if c.caution:
        print(f"  Caution: {c.caution}")


def _ask(wanted: Wanted) -> str | None:
    """What is typed for a place; None to leave."""
    prompt = f"  {wanted.place.position or wanted.characteristic.code}> "
    if hasattr(signal, "siginterrupt"):  # polars sets Ctrl-C up so that it no longer ends a wait for typing
        signal.siginterrupt(signal.SIGINT, True)
    try:
        text = input(prompt).strip()
    except EOFError:
        print()
        return None
    return None if text.lower() in ("quit", "q", "exit", "leave") else text


def _store(arguments: argparse.Namespace, log: Log, how: Circumstances, wanted: Wanted, text: str) -> bool:
    """Store a reading, or correct the last; whether to go on to the next place."""
    from dataclasses import replace

    from qclog.services import capture

    submission = options.submission_of(arguments, f"reading of job {arguments.job}")
    try:
        word, _, new = text.partition(" ")
        if word.lower() == "fix":
            reason = input("  why? (mistyped, wrong position, wrong gauge, re-seated ...) ").strip()
            _say(capture.correct_last(log, arguments.job, new, reason, how, submission), log)
            return False
        needed = wanted.characteristic.conditions
        here = how if not needed or how.conditions else replace(how, conditions=_ask_conditions(needed))
        _say(capture.take(log, wanted.place, text, here, submission), log)
        return True
    except QclogError as error:
        print(f"  {error}", file=sys.stderr)
        return False


def _ask_conditions(needed: tuple[str, ...]) -> tuple[str, ...]:
    said = input(f"  conditions ({', '.join(needed).replace('|', ' or ')})> ").strip()
    return tuple(said.replace(",", " ").split())
