"""`qclog job`: jobs opened, listed, described, told; comebacks."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.cli.options import any_of
from qclog.domain.claims import COMEBACK_DETAILS
from qclog.domain.jobs import ATTRIBUTABLE, CONDITIONS_OF_PARTS, DETAILS
from qclog.errors import InputError

_AT_OPENING = tuple(name for name in DETAILS if name != "dispatched")


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("job", help="jobs: open, list, show, say something of one, add a part, comeback")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_open(actions)
    listing = actions.add_parser("list", help="jobs, the last touched first")
    listing.add_argument("text", nargs="?", default="", help="in the number, serial, batch, customer reference or lot")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_some)
    show = actions.add_parser("show", help="everything the log has of one job")
    show.add_argument("job")
    options.add_log(show, earlier=True)
    show.set_defaults(run=show_one)
    check = actions.add_parser("check", help="what stands against dispatching a job, and its comeback risk")
    check.add_argument("job")
    options.add_log(check, earlier=True)
    check.set_defaults(run=check_one)
    say = actions.add_parser("set", help="say something of a job; what was said before is kept")
    say.add_argument("job")
    say.add_argument("name", help=", ".join(DETAILS))
    say.add_argument("value")
    say.add_argument("--reason")
    options.add_log(say)
    options.add_by(say)
    say.set_defaults(run=say_one)
    _add_part_to(actions)
    back = actions.add_parser("comeback", help="record that a job came back")
    back.add_argument("job")
    back.add_argument("--returned", metavar="TIME", help="when (default: now)")
    back.add_argument("--complaint")
    back.add_argument("--finding")
    back.add_argument("--attributable", help=any_of(ATTRIBUTABLE))
    back.add_argument("--hours", type=float)
    options.add_log(back)
    options.add_by(back)
    back.set_defaults(run=come_back)
    claim = actions.add_parser("claim", help="what is said of a return since it was opened, or say something of it")
    claim.add_argument("job")
    claim.add_argument("--returned", metavar="TIME", help="which return (default: the last)")
    for name, words in COMEBACK_DETAILS.items():
        claim.add_argument("--" + name.replace("_", "-"), metavar="TEXT", help=words)
    options.add_log(claim, earlier=True)
    options.add_by(claim)
    claim.set_defaults(run=tell_claim)


def _add_open(actions: Any) -> None:
    new = actions.add_parser("open", help="open a job")
    new.add_argument("job")
    new.add_argument("case_type")
    for name in _AT_OPENING:
        new.add_argument("--" + name.replace("_", "-"), dest=name, type=int if name == "rebuild" else str)
    new.add_argument("--opened", metavar="TIME", help="when (default: now)")
    options.add_log(new)
    options.add_by(new)
    new.set_defaults(run=open_one)


def _add_part_to(actions: Any) -> None:
    part = actions.add_parser("part", help="add a part to a job")
    part.add_argument("job")
    part.add_argument("part", help="what kind of part: bearing, gasket ...")
    part.add_argument("--lot")
    part.add_argument("--supplier")
    part.add_argument("--condition", help=any_of(CONDITIONS_OF_PARTS))
    part.add_argument("--sub-assembly", metavar="JOB", help="the job it was built as")
    options.add_log(part)
    options.add_by(part)
    part.set_defaults(run=add_part)


def open_one(arguments: argparse.Namespace) -> int:
    """Open a job."""
    from qclog.domain.jobs import Job
    from qclog.services.jobs import jobs

    log = options.log_of(arguments)
    details = {name: getattr(arguments, name) for name in _AT_OPENING}
    job = Job(arguments.job, arguments.case_type, _moment(log, arguments.opened), **details)
    jobs.open_job(log, job, options.submission_of(arguments, f"open job {arguments.job}"))
    print(f"job {arguments.job} is open. Next: qclog read {arguments.job}")
    return 0


def _moment(log: Any, text: str | None) -> Any:
    from qclog.domain.moments import now, read_moment
    from qclog.services.keeping import sheets

    if text is None:
        return now()
    zone = sheets.zone_of(log)
    return read_moment(text, zone)


def list_some(arguments: argparse.Namespace) -> int:
    """List jobs."""
    from qclog.cli.columns import print_columns
    from qclog.domain.moments import show_moment
    from qclog.services.jobs import jobs

    log = options.log_of(arguments)
    rows, zone = jobs.list_with_zone(log, arguments.text)
    print_columns(
        ("job", "case type", "serial", "rebuild", "batch", "opened", "dispatched"),
        [
            (
                r.job,
                r.case_type,
                r.case_serial,
                r.rebuild,
                r.machining_batch,
                show_moment(r.opened, zone)[:10],
                show_moment(r.dispatched, zone)[:10],
            )
            for r in rows
        ],
        right=("rebuild",),
    )
    if not rows:
        print("no job found" if arguments.text else "no jobs yet: open one with qclog job open")
    elif len(rows) == jobs.MOST_LISTED:
        print(f"the first {jobs.MOST_LISTED}; name part of a number, serial, batch or lot to find others")
    return 0


def say_one(arguments: argparse.Namespace) -> int:
    """Say something of a job."""
    from qclog.services.jobs import jobs

    log = options.log_of(arguments)
    value: Any = arguments.value
    if arguments.name == "dispatched":
        value = _moment(log, value)
        check_one(arguments)
    elif arguments.name == "rebuild" and not value.isdigit():
        raise InputError("a rebuild number is a whole number", field="rebuild", found=value)
    submission = options.submission_of(arguments, f"{arguments.name} of job {arguments.job}")
    jobs.say(log, arguments.job, arguments.name, value, submission, arguments.reason)
    print(f"job {arguments.job}: {arguments.name.replace('_', ' ')} is now {arguments.value}")
    return 0


def check_one(arguments: argparse.Namespace) -> int:
    """Print what stands against dispatching a job."""
    from qclog.cli.sign_off import print_sign_off
    from qclog.services.overview.sign_off import before_dispatch

    print_sign_off(before_dispatch(options.log_of(arguments), arguments.job))
    return 0


def add_part(arguments: argparse.Namespace) -> int:
    """Add a part."""
    from qclog.domain.jobs import CONDITIONS_OF_PARTS, Part
    from qclog.services.jobs import jobs
    from qclog.services.keeping import people

    if arguments.condition is not None:
        people.choose(arguments.condition, CONDITIONS_OF_PARTS, "condition")
    part = Part(
        arguments.job,
        arguments.part,
        arguments.lot,
        arguments.supplier,
        arguments.condition,
        arguments.sub_assembly,
    )
    submission = options.submission_of(arguments, f"part of job {arguments.job}")
    jobs.add_part(options.log_of(arguments), part, submission)
    print(f"job {arguments.job}: {arguments.part} added")
    return 0


def come_back(arguments: argparse.Namespace) -> int:
    """Record a comeback."""
    from qclog.services.keeping import people

    log = options.log_of(arguments)
    people.add_comeback(
        log,
        arguments.job,
        _moment(log, arguments.returned),
        options.submission_of(arguments, f"comeback of job {arguments.job}"),
        complaint=arguments.complaint,
        finding=arguments.finding,
        attributable=arguments.attributable,
        hours=arguments.hours,
    )
    print(f"job {arguments.job}: comeback recorded")
    return 0


def tell_claim(arguments: argparse.Namespace) -> int:
    """Tell a job's returns, or say something of one."""
    from qclog.domain.moments import show_moment
    from qclog.services.jobs import claims

    log = options.log_of(arguments)
    said = {name: getattr(arguments, name) for name in COMEBACK_DETAILS if getattr(arguments, name) is not None}
    if said:
        which = _moment(log, arguments.returned) if arguments.returned else None
        submission = options.submission_of(arguments, f"return of job {arguments.job}")
        returned = claims.amend(log, arguments.job, said, submission, which)
        named = ", ".join(COMEBACK_DETAILS[name] for name in said)
        print(f"job {arguments.job}, return of {show_moment(returned, _zone(log))[:10]}: {named} kept")
        return 0
    found = claims.claims_of(log, arguments.job)
    for claim in found:
        print(f"Job {claim.job}, came back {show_moment(claim.returned, claim.zone)}:")
        for line in claim.lines() or ("nothing was said of it since it was opened",):
            print(f"  {line}")
    if not found:
        print(f"job {arguments.job} has not come back")
    return 0


def _zone(log: Any) -> Any:
    from qclog.services.keeping import sheets

    return sheets.zone_of(log)


def show_one(arguments: argparse.Namespace) -> int:
    """Tell a job's story."""
    from qclog.cli.story import print_story
    from qclog.services.sums import bench_sums

    log = options.log_of(arguments)
    print_story(*bench_sums.tell_job(log, arguments.job))
    return 0
