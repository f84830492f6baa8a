"""`qclog paper`: build record, job card, monthly review, investigation file, labels, as PDF or HTML."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qclog.cli import options

if TYPE_CHECKING:
    from qclog.report.document import Document


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser(
        "paper", help="build record, job card, monthly review, investigation file: PDF or HTML"
    )
    actions = parser.add_subparsers(title="papers", metavar="PAPER", required=True)
    record = actions.add_parser("record", help="what left the shop, for the customer and the file")
    record.add_argument("job")
    _finish(record, write_record)
    card = actions.add_parser("card", help="the card that goes with a job, with its code to scan")
    card.add_argument("job")
    _finish(card, write_card)
    labels = actions.add_parser("labels", help="codes to cut out, for jobs, lots of parts and gauges")
    for kind, what in (("job", "jobs"), ("lot", "lots of parts"), ("gauge", "gauges")):
        labels.add_argument(f"--{kind}", nargs="+", default=[], metavar="NAME", help=what)
    labels.add_argument("--copies", type=int, default=1, metavar="N", help="of each (default 1)")
    _finish(labels, write_labels)
    review = actions.add_parser(
        "review", help="a month of the workshop: findings, case types, comebacks, gauges, stock"
    )
    review.add_argument("month", nargs="?", help="as 2026-05 (default: the last in which anything happened)")
    _finish(review, write_review)
    investigation = actions.add_parser("investigation", help="what a trace found, with every reading (see qclog trace)")
    investigation.add_argument("what", help="a serial, job, customer reference, lot, machining batch or gauge")
    _finish(investigation, write_investigation)


def _finish(parser: argparse.ArgumentParser, run: Any) -> None:
    parser.add_argument("--to", type=Path, required=True, metavar="FILE", help="the file to write, .pdf or .html")
    options.add_replace(parser)
    options.add_log(parser, earlier=True)
    parser.set_defaults(run=run)


def write_record(arguments: argparse.Namespace) -> int:
    """Write a build record."""
    from qclog.services.papers import build_record

    return _write(lambda: build_record.build_record(options.log_of(arguments), arguments.job), arguments)


def write_card(arguments: argparse.Namespace) -> int:
    """Write a job card."""
    from qclog.services.papers import job_card

    return _write(lambda: job_card.job_card(options.log_of(arguments), arguments.job), arguments)


def write_labels(arguments: argparse.Namespace) -> int:
    """Write a sheet of labels."""
    from qclog.services.papers import labels

    names = {kind: getattr(arguments, kind) for kind in ("job", "lot", "gauge")}
    return _write(lambda: labels.label_sheet(options.log_of(arguments), names, arguments.copies), arguments)


def write_review(arguments: argparse.Namespace) -> int:
    """Write a monthly review."""
    from qclog.services.papers import monthly_review

    return _write(lambda: monthly_review.monthly_review(options.log_of(arguments), arguments.month), arguments)


def write_investigation(arguments: argparse.Namespace) -> int:
    """Write an investigation."""
    from qclog.services.papers import investigation_file
    from qclog.services.tracing import tracing

    log = options.log_of(arguments)
    return _write(lambda: investigation_file.investigation_file(tracing.trace(log, arguments.what)), arguments)


def _write(make: Callable[[], Document], arguments: argparse.Namespace) -> int:
    from qclog.services.keeping import output
    from qclog.services.papers import paper

    paper.check_ending(arguments.to)
    output.check_file(arguments.to, replace=arguments.replace)
    document = make()
    paper.save(document, arguments.to, replace=arguments.replace)
    print(f"{document.title} of {document.about}: {arguments.to}")
    return 0
