"""`qclog read JOB`: one reading, or a guided run through what the sheet wants, left and resumed at any point."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from qclog.cli import guide, options
from qclog.cli.answer import store_and_answer
from qclog.domain.jobs import STAGES
from qclog.domain.places import Place
from qclog.errors import InputError

if TYPE_CHECKING:
    from qclog.services.jobs.capture import Circumstances, Taken
    from qclog.store.log import Log


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
    parser.add_argument("--stage", choices=STAGES, help="default: the only one, else final")
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
        log = options.log_of(arguments)
        return guide.run(log, arguments.job, circumstances_of(arguments, log), arguments.stage)
    if arguments.reading is None and arguments.strike is None:
        raise InputError("what was read?", field="reading", hint="give it after the characteristic")
    return _one(arguments)


def circumstances_of(arguments: argparse.Namespace, log: Log) -> Circumstances:
    """Who reads, with what, when and under what conditions, as the options say."""
    from qclog.domain.moments import now, read_moment
    from qclog.services.jobs.capture import Circumstances
    from qclog.services.keeping import sheets

    taken = None
    if arguments.taken:
        taken = read_moment(arguments.taken, sheets.zone_of(log))
        if taken > now():
            raise InputError("a reading can't have been taken later than now", field="taken", found=arguments.taken)
    return Circumstances(
        options.person_of(arguments), arguments.gauge, taken, tuple(arguments.conditions.split()), arguments.note
    )


def _one(arguments: argparse.Namespace) -> int:
    from qclog.services.jobs import capture

    log = options.log_of(arguments)
    submission = options.submission_of(arguments, f"reading of job {arguments.job}")
    if arguments.strike is not None:
        with log.kept_open():
            circumstances, place = circumstances_of(arguments, log), _place(arguments, log)
            capture.strike(log, place, arguments.strike, arguments.reason, circumstances.technician, submission)
        print(f"struck out; it stays in the log: {arguments.reason}")
        return 0

    def store() -> Taken:
        circumstances, place = circumstances_of(arguments, log), _place(arguments, log)
        if arguments.correct is None:
            return capture.take(log, place, arguments.reading, circumstances, submission)
        return capture.correct(
            log, place, arguments.correct, arguments.reading, arguments.reason, circumstances, submission
        )

    again = "give the command again with --correct {attempt} --reason WHY"
    store_and_answer(log, store, named=True, put_right=again)
    return 0


def _place(arguments: argparse.Namespace, log: Log) -> Place:
    from qclog.domain.places import Place
    from qclog.services.jobs import jobs

    stage = arguments.stage or _usual_stage(jobs.tell(log, arguments.job).sheet, arguments.characteristic)
    return Place(arguments.job, arguments.characteristic, stage, arguments.position)


def _usual_stage(sheet: Any, code: str) -> str:
    stages = sheet.characteristic(code).stages
    return "final" if "final" in stages else str(stages[-1])
