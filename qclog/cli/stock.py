"""`qclog stock`: shims counted in, booked out, what is low, what will be needed."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.errors import InputError


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("stock", help="shim stock: list, add, count, take, put back, minimum, forecast")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="what there is, and what is low")
    listing.add_argument("set", nargs="?", help="one set (default: all)")
    listing.add_argument("--low", action="store_true", help="only what is below its minimum")
    _end(listing, list_all)
    add = actions.add_parser("add", help="count bought leaves in; a new size is added")
    _size(add)
    add.add_argument("--count", type=int, required=True)
    add.add_argument("--unit", default="thou")
    add.add_argument("--layer", type=float, help="laminated: how thick one layer is")
    add.add_argument("--minimum", type=int, help="the least there should be of this packet size")
    _end(add, add_some)
    count = actions.add_parser("count", help="put a drawer right after counting it")
    _size(count)
    count.add_argument("--count", type=int, required=True)
    count.add_argument("--note")
    _end(count, count_some)
    for name, what, function in (
        ("take", "book leaves out to a job", take),
        ("back", "put a job's leaves back", put_back),
    ):
        action = actions.add_parser(name, help=what)
        action.add_argument("set")
        action.add_argument("leaves", help="packet sizes joined by +: 20+10+5")
        action.add_argument("--job", required=True)
        _end(action, function)
    least = actions.add_parser("minimum", help="say the least there should be of a packet size")
    least.add_argument("set")
    least.add_argument("size", type=float)
    least.add_argument("minimum", type=int)
    _end(least, say_minimum)
    coming = actions.add_parser("forecast", help="what the coming jobs are likely to need")
    coming.add_argument("set")
    coming.add_argument(
        "--jobs", nargs="*", metavar="CASE_TYPE=N", help="default: open ones and a month at the last pace"
    )
    coming.add_argument("--sure", type=float, default=0.9, help="the chance that it is enough (default 0.9)")
    _end(coming, foresee)


def _size(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set")
    parser.add_argument("size", type=float, help="what the packet says")
    parser.add_argument("--measured", type=float, help="what it measures (default: the same)")


def _end(parser: argparse.ArgumentParser, function: Any) -> None:
    options.add_log(parser, earlier=True)
    options.add_by(parser)
    parser.set_defaults(run=function)


def list_all(arguments: argparse.Namespace) -> int:
    """List stock."""
    from qclog.cli.columns import print_columns
    from qclog.services.keeping import stock

    held = stock.list_stock(options.log_of(arguments), arguments.set)
    low = {(name, nominal): least - n for name, nominal, n, least, _ in stock.low_stock(held)}
    rows = [
        (
            s.size.stock_set,
            f"{s.size.nominal:g}",
            f"{s.size.measured:g}",
            s.size.unit,
            f"layers of {s.size.layer:g}" if s.size.layer else "",
            s.count,
            s.minimum,
            "LOW" if (s.size.stock_set, s.size.nominal) in low else "",
        )
        for s in held
        if not arguments.low or (s.size.stock_set, s.size.nominal) in low
    ]
    if not rows:
        print("nothing is low" if held else "no shims yet: qclog stock add SET SIZE --count N")
        return 0
    headings = ("set", "size", "measured", "unit", "", "count", "minimum", "low")
    print_columns(headings, rows, right=("size", "measured", "count", "minimum"))
    if low:
        print("below the minimum: " + ", ".join(f"{name} {size:g} (wants {n} more)" for (name, size), n in low.items()))
    return 0


def _shim(arguments: argparse.Namespace, unit: str = "", layer: float | None = None) -> Any:
    from qclog.domain.stock import ShimSize

    measured = arguments.size if arguments.measured is None else arguments.measured
    return ShimSize(arguments.set, arguments.size, measured, unit, layer)


def add_some(arguments: argparse.Namespace) -> int:
    """Count leaves in."""
    from qclog.domain.quantities import units
    from qclog.services.keeping import stock

    size = _shim(arguments, units.parse_unit(arguments.unit), arguments.layer)
    there = stock.add_leaves(
        options.log_of(arguments),
        size,
        arguments.count,
        options.submission_of(arguments, f"shims bought for {arguments.set}"),
        minimum=arguments.minimum,
        person=options.named_person(arguments),
    )
    print(f"{arguments.set} {size.nominal:g} (measures {size.measured:g} {size.unit}): {there} there now")
    return 0


def count_some(arguments: argparse.Namespace) -> int:
    """Put a count right."""
    from qclog.services.keeping import stock

    submission = options.submission_of(arguments, f"{arguments.set} counted")
    off = stock.count_leaves(
        options.log_of(arguments), _shim(arguments), arguments.count, submission, note=arguments.note
    )
    said = "as the log had it" if off == 0 else f"{abs(off)} {'more' if off > 0 else 'fewer'} than the log had"
    print(f"{arguments.set} {arguments.size:g}: {arguments.count} counted, {said}")
    return 0


def take(arguments: argparse.Namespace) -> int:
    """Book leaves out."""
    from qclog.services.keeping import stock

    log = options.log_of(arguments)
    pack = stock.pack_from_text(stock.list_stock(log, arguments.set), arguments.leaves)
    submission = options.submission_of(arguments, f"shims for job {arguments.job}")
    left = stock.take_leaves(
        log, arguments.set, pack, arguments.job, submission, person=options.named_person(arguments)
    )
    print(f"booked out of {arguments.set} to job {arguments.job}: {pack.text()} = {pack.total:g}")
    for name, nominal, n, least, _ in stock.low_stock(left):
        print(f"  {name} {nominal:g} is low: {n} there, {least} wanted")
    return 0


def put_back(arguments: argparse.Namespace) -> int:
    """Put leaves back."""
    from qclog.services.keeping import stock

    try:
        leaves = [float(word) for word in arguments.leaves.replace("+", " ").split()]
    except ValueError as error:
        raise InputError("leaves are sizes joined by +", field="leaves", found=arguments.leaves) from error
    submission = options.submission_of(arguments, f"shims back from job {arguments.job}")
    stock.return_leaves(
        options.log_of(arguments),
        arguments.set,
        leaves,
        arguments.job,
        submission,
        person=options.named_person(arguments),
    )
    print(f"back in {arguments.set} from job {arguments.job}: {arguments.leaves}")
    return 0


def say_minimum(arguments: argparse.Namespace) -> int:
    """Say a minimum."""
    from qclog.services.keeping import stock

    submission = options.submission_of(arguments, f"minimum of {arguments.set} {arguments.size:g}")
    stock.set_minimum(options.log_of(arguments), arguments.set, arguments.size, arguments.minimum, submission)
    print(f"{arguments.set} {arguments.size:g}: at least {arguments.minimum} from now on")
    return 0


def foresee(arguments: argparse.Namespace) -> int:
    """Forecast a set."""
    from qclog.cli.columns import print_columns
    from qclog.services.sums.forecast import forecast

    coming = None if arguments.jobs is None else dict(_jobs(word) for word in arguments.jobs)
    needs, jobs = forecast(options.log_of(arguments), arguments.set, coming, sure=arguments.sure)
    for job in jobs:
        print(f"{job.case_type}: {job.jobs} jobs coming, drawn from its last {job.past} packs")
    rows = [
        (
            f"{f.nominal:g}", f.unit, f.there, f.minimum, f"{f.need.expected:.1f}", f.need.enough,
            f"{100 * f.need.chance_enough:.0f} %", f"buy {f.short}" if f.short else "",
        )
        for f in needs
        if f.need.expected > 0 or f.short
    ]  # fmt: skip
    headings = ("size", "unit", "there", "minimum", "likely", f"enough at {arguments.sure:.0%}", "is enough", "")
    print_columns(headings, rows, right=headings[:1] + headings[2:7])
    print("From packs as they were fitted, each made up from the fewest leaves of packet size.")
    return 0


def _jobs(word: str) -> tuple[str, int]:
    case_type, _, n = word.rpartition("=")
    if not case_type or not n.isdigit():
        raise InputError("jobs are a case type and how many", field="jobs", found=word, hint="as LR-2=10")
    return case_type, int(n)
