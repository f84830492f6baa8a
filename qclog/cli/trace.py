"""`qclog trace`: from a serial, a job, a customer reference or a lot to what left, who else has the same, and why."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qclog.cli import options
from qclog.errors import UnknownNameError
from qclog.words.numbers import plural

if TYPE_CHECKING:
    from qclog.services.papers.investigation_tables import Grid
    from qclog.services.tracing.sisters import Link
    from qclog.services.tracing.tracing import Trace, UnitTrace

KINDS = ("job", "serial", "customer", "lot", "batch", "gauge")
_KINDS_OF_LOG = {"serial": "case_serial", "customer": "customer_ref", "batch": "machining_batch"}


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("trace", help="a unit, lot, batch or gauge: what left, who else has the same, and why")
    parser.add_argument(
        "what", help="a serial, job, customer reference, lot, machining batch or gauge, or a scanned code"
    )
    parser.add_argument("--kind", choices=KINDS, help="which it is, where several things have the same name")
    parser.add_argument("--job", metavar="JOB", help="which visit of the unit (default: the last that came back)")
    parser.add_argument(
        "--shares",
        action="append",
        metavar="NAME",
        help="what the recall list goes by: a lot, batch, gauge or finding that it shares; may be repeated",
    )
    parser.add_argument("--recall", type=Path, metavar="FILE", help="write the recall list as CSV")
    options.add_replace(parser)
    parser.add_argument("--file", type=Path, metavar="FOLDER", help="write the whole file: PDF, HTML, CSV tables")
    options.add_log(parser, earlier=True)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Trace something."""
    from qclog.services.keeping import output
    from qclog.services.tracing import tracing

    if arguments.recall is not None:
        output.check_file(arguments.recall, replace=arguments.replace)
    if arguments.file is not None:
        output.check_folder(arguments.file)
    kind = _KINDS_OF_LOG.get(arguments.kind, arguments.kind)
    found = tracing.trace(options.log_of(arguments), arguments.what, kind=kind, job=arguments.job)
    links = _chosen(found, arguments.shares)
    if arguments.recall is None and arguments.file is None:
        _print(found, links)
    if arguments.recall is not None:
        _save_recall(found, links, arguments.recall, replace=arguments.replace)
    if arguments.file is not None:
        from qclog.services.papers import investigation_file

        for path in investigation_file.save_folder(found, arguments.file, links):
            print(f"saved {path}")
    return 0


def _chosen(found: Trace, names: list[str] | None) -> tuple[Link, ...]:
    if not names:
        return found.suggested
    chosen = []
    for name in names:
        mine = [link for link in found.links if name.casefold() in (link.name.casefold(), link.kind)]
        if not mine:
            raise UnknownNameError(
                "that is nothing it shares",
                field="shares",
                found=name,
                hint="it shares: " + ", ".join(link.name for link in found.links),
            )
        chosen += mine
    return tuple(chosen)


def _save_recall(found: Trace, links: tuple[Link, ...], path: Path, *, replace: bool) -> None:
    from qclog.services.keeping.output import new_file
    from qclog.services.papers import investigation_file

    with new_file(path, replace=replace) as part:
        part.write_text(investigation_file.recall_csv(found, links), encoding="utf-8", newline="")
    print(f"saved {path}: {plural(len(found.recall(links)), 'unit')}")


def _print(found: Trace, links: tuple[Link, ...]) -> None:
    from qclog.services.papers import investigation_tables as tables
    from qclog.services.tracing.sisters import count_text
    from qclog.services.watch.finding_words import tell

    if found.unit is None or found.subject.kind != "job":
        print(found.subject.words[0].upper() + found.subject.words[1:])
    if found.unit is not None:
        _print_unit(found.unit)
    gone = {job for job, row in found.shop.by_job.items() if row.dispatched is not None}
    for link in found.findings:
        if link.finding is not None:
            print("\nWhat the readings point to:")
            for line in tell(link.finding, gone, found.shop.zone):
                print(f"  {line}")
    _print_grid("What it shares" if found.unit else "Comebacks", tables.links_grid(found, found.links))
    recalled = found.recall(links)
    if recalled:
        print(f"\nRecall list, by {'; '.join(link.words.rstrip('.') for link in links)}")
        print(f"{count_text(found.shop, recalled)}. --recall FILE writes it.")
        _print_grid("", tables.recall_grid(recalled))
    _print_grid(tables.risks_title(found.shop), tables.risks_grid(found.risks))
    for case_type in found.case_types:
        _print_going(found, case_type)
    print("\nGrades and lists are suggestions from the log; people who have seen the parts decide.")


def _print_unit(unit: UnitTrace) -> None:
    from qclog.domain.moments import show_moment
    from qclog.services.papers import investigation_tables as tables

    job, zone = unit.story.job, unit.story.zone
    facts = (job.case_type, job.case_serial, job.customer_ref, unit.shop.where_now(unit.job))
    print(f"Job {unit.job}: {', '.join(str(f) for f in facts if f)}")
    for visit in unit.story.visits:
        if visit.job != unit.job:
            print(f"  the same case was here as job {visit.job}, opened {show_moment(visit.opened, zone)[:10]}")
    for back in unit.story.comebacks:
        print(
            f"  came back {show_moment(back.returned, zone)[:10]}: {back.complaint or 'no complaint noted'};"
            f" found: {back.finding or 'nothing noted'}; ours: {back.attributable or 'open'}"
        )
    print("\nThe evidence, graded:")
    for point in unit.points:
        print(f"  {point.grade.upper()}: {point.about}")
        print(f"    why: {point.reason}")
        print(f"    would settle it: {point.settle}")
    if unit.outside:
        print("\nLeft outside the limits in force that day, or too close to call:")
        for one in unit.outside:
            print(f"  {one.text}")
    if unit.left is not None and unit.left.later:
        print("\nEntered after it had left, and so no part of what left:")
        for later in unit.left.later:
            print(f"  {unit.left.later_text(later)}")
    _print_grid("As received against as built", tables.changes_grid(unit))
    _print_grid("Were the gauges right that day?", tables.gauges_grid(unit))
    _print_grid("Each value among its peers, counted from the lowest", tables.peers_grid(unit))
    _print_grid("Corrected or read again", tables.readings_grid(unit, counting=False).without_empty())
    _print_grid("Parts and lots", tables.parts_grid(unit).without_empty())
    _print_grid("Sub-assemblies built earlier", tables.inside_grid(unit))


def _print_going(found: Trace, case_type: str) -> None:
    from qclog.services.papers import investigation_tables as tables

    going = found.going(case_type)
    if not any(g.p is not None for g in going):
        print(f"\n{case_type}: too few comebacks to say whether any reading goes with them")
        return
    _print_grid(f"Do final readings of {case_type} go with comebacks?", tables.going_grid(going))
    without = [g for g in found.going(case_type, without_explained=True) if g.p is not None]
    if without:
        _print_grid("The same without units that findings or doubtful gauges touch", tables.going_grid(without))
    else:
        print("Without units that findings or doubtful gauges touch: too few to say")


def _print_grid(title: str, grid: Grid) -> None:
    from qclog.cli.columns import print_columns

    if not grid.rows:
        return
    if title:
        print(f"\n{title}{'' if title.endswith('?') else ':'}")
    print_columns(grid.headings, grid.rows, right=grid.numbers)
