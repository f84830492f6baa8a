"""`qclog pack`: the pack a job wants, or one worked out from numbers given, made up from stock."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from qclog.cli import options
from qclog.errors import InputError

if TYPE_CHECKING:
    from qclog.bench.answer import Answer
    from qclog.bench.estimate import Estimate
    from qclog.bench.packs import Leaf, Want
    from qclog.services.sums.bench_sums import Fit
    from qclog.store.log import Log

_EPILOG = (
    "qclog pack J-100: what the job's sheet asks for.  qclog pack J-100 J-101: several at once from one drawer.  "
    "qclog pack --trial 40 --reading 15 --gasket 12 --pinch 4 --stock S-A: from numbers.  "
    "qclog pack --wanted 41 --leaves '20x4 10x4 5 3x2': from these leaves."
)


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("pack", help="the shim pack wanted, and which leaves make it", epilog=_EPILOG)
    parser.add_argument("jobs", nargs="*", metavar="JOB", help="jobs whose packs are wanted; none: from the numbers")
    parser.add_argument("--take", action="store_true", help="book the leaves of one job's pack out of stock")
    sums = parser.add_argument_group("a sum from numbers")
    sums.add_argument("--wanted", help="the pack that is wanted, if it is known")
    sums.add_argument("--trial", default="0", help="the trial pack the gap was read over")
    sums.add_argument("--reading", help="the gap as read: 15, 15/16, '0.41 mm'")
    sums.add_argument("--place", default="under_bearing", help="where the shim is: under_bearing (default) or in_joint")
    sums.add_argument("--gasket", default="0", help="the gasket once crushed")
    sums.add_argument("--pinch", help="the pinch that is wanted")
    sums.add_argument("--float", dest="end_float", help="the float that is wanted")
    sums.add_argument("--unit", default="thou", help="of bare numbers (default thou)")
    stock = parser.add_argument_group("leaves to make it from")
    stock.add_argument("--stock", metavar="SET", help="a stock set of the log")
    stock.add_argument("--leaves", help="sizes and how many: '20x4 10x4 5 3x2'; 30/2 peels in layers of 2")
    stock.add_argument("--tolerance", type=float, help="how far off it may be (default 0.5 thou)")
    stock.add_argument("--least", type=int, default=0, metavar="N", help="the least leaves")
    stock.add_argument("--most", type=int, metavar="N", help="the most leaves")
    stock.add_argument("--safer", help="the side to err on: thicker or thinner")
    options.add_log(parser)
    options.add_by(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Say the pack."""
    if arguments.jobs:
        given = [name for name in ("wanted", "reading", "leaves", "stock") if getattr(arguments, name) is not None]
        if given:
            raise InputError(
                "a job's sheet says what is wanted and from which stock",
                field=given[0],
                hint="leave the jobs out for a sum",
            )
        return _of_jobs(arguments)
    if arguments.take:
        raise InputError("leaves are booked out to a job", field="take", hint="qclog pack JOB --take")
    return _of_numbers(arguments)


def _of_numbers(arguments: argparse.Namespace) -> int:
    from qclog.bench.answer import TRIAL, say, say_short
    from qclog.bench.packs import choose_pack
    from qclog.domain.quantities import units

    unit = units.parse_unit(arguments.unit)
    thickness = _number(arguments.wanted, unit, "wanted")
    if arguments.reading is not None:
        if thickness is not None:
            raise InputError(
                "give the pack wanted, or a trial to work it out from", field="wanted", found=arguments.wanted
            )
        answer = _work_out(arguments, unit)
        thickness = answer.value
        print(f"wanted {say(answer.value, unit)} {unit}, give or take {say_short(answer.u, unit)}: {_have(arguments)}")
        print(f"  {answer.sum}")
    elif thickness is None:
        raise InputError("say what is wanted", field="wanted", hint="--wanted 41, or --trial 40 --reading 15 --pinch 4")
    drawer = _drawer(arguments, unit)
    if drawer is not None:
        leaves, stock_unit = drawer
        want = _want(arguments, thickness, unit, stock_unit)
        choice = choose_pack(leaves, want)
        print(f"  {choice.sentence(stock_unit)}")
        for caution in choice.cautions:
            print(f"  {caution}")
    else:
        print(f"  {TRIAL}")
    return 0


def _have(arguments: argparse.Namespace) -> str:
    return (
        f"have trial {arguments.trial} reading {arguments.reading}"
        if arguments.trial != "0"
        else f"gap {arguments.reading}"
    )


def _number(text: str | None, unit: str, field: str) -> float | None:
    return None if text is None else _estimate(text, unit, field).value


def _estimate(text: str, unit: str, field: str, kind: str | None = None) -> Estimate:
    """What was said, in `unit`, with the uncertainty of its interval and of its kind of gauge."""
    from qclog.bench.estimate import Estimate
    from qclog.bench.uncertainty import source_of
    from qclog.domain.speech import readings

    said = readings.convert_said(readings.read(text, unit=unit), unit)
    if said.kind not in ("point", "bracket") or said.low is None or said.high is None:
        raise InputError("a number is needed", field=field, found=text)
    source = source_of(float(said.low), float(said.high), kind=kind, step=None, unit=unit)
    return Estimate(source.value, (source.own**2 + source.shared**2) ** 0.5)


def _work_out(arguments: argparse.Namespace, unit: str) -> Answer:
    from qclog.bench import stand_off
    from qclog.bench.estimate import Estimate
    from qclog.domain.sheets.sums import SHIM_LOCATIONS
    from qclog.domain.speech import readings

    if arguments.place not in SHIM_LOCATIONS:
        raise InputError(f"the shim is one of {', '.join(SHIM_LOCATIONS)}", field="place", found=arguments.place)
    if (arguments.pinch is None) == (arguments.end_float is None):
        raise InputError("say what is wanted: --pinch or --float, one of the two", field="pinch")
    pinch = _number(arguments.pinch, unit, "pinch")
    pinch = -(_number(arguments.end_float, unit, "float") or 0.0) if pinch is None else pinch
    trial = _estimate(arguments.trial, unit, "trial", "micrometer") if arguments.trial != "0" else Estimate(0.0)
    said = readings.read(arguments.reading, unit=unit)
    if said.kind == "below":
        raise stand_off.flush(trial.value, unit)
    gap = _estimate(arguments.reading, unit, "reading", "feeler")
    gasket = Estimate(_number(arguments.gasket, unit, "gasket") or 0.0)
    if arguments.place == "in_joint":
        return stand_off.pack_in_joint(gap, pinch=pinch, gasket=gasket, trial_pack=trial, unit=unit)
    return stand_off.pack_under_bearing(trial, gap, pinch=pinch, gasket=gasket, unit=unit)


def _drawer(arguments: argparse.Namespace, unit: str) -> tuple[Sequence[Leaf], str] | None:
    from qclog.bench.packs import parse_leaves
    from qclog.services.keeping import stock

    if arguments.leaves is not None:
        return parse_leaves(arguments.leaves), unit
    if arguments.stock is None:
        return None
    held = stock.list_stock(options.log_of(arguments), arguments.stock)
    return [s.leaf for s in held], held[0].size.unit


def _want(arguments: argparse.Namespace, thickness: float, unit: str, stock_unit: str) -> Want:
    from qclog.bench.packs import Want
    from qclog.domain.quantities import units

    factor = float(units.factor(unit, stock_unit))
    usual = 0.5 * float(units.factor("thou", stock_unit))
    tolerance = usual if arguments.tolerance is None else arguments.tolerance * factor
    return Want(thickness * factor, tolerance, arguments.least, arguments.most, arguments.safer)


def _of_jobs(arguments: argparse.Namespace) -> int:
    from qclog.cli.sums import print_sums
    from qclog.services.jobs import jobs
    from qclog.services.sums import bench_sums

    log = options.log_of(arguments)
    stories = [jobs.tell(log, job) for job in dict.fromkeys(arguments.jobs)]
    if arguments.take and len(stories) > 1:
        raise InputError("book out one job at a time", field="take", found=f"{len(stories)} jobs")
    told = [bench_sums.read_sums(log, story) for story in stories]
    fits = bench_sums.fits_together(log, told)
    for story, sums, mine in zip(stories, told, fits, strict=True):
        packs = {i: t for i, t in enumerate(sums) if t.wanted is not None or t.problem is not None}
        print(f"Job {story.job.job}: {story.sheet.name}")
        if not story.sheet.sums:
            print("  Its sheet has no sums: add a [[sum]] to it (qclog/domain/sheets/SHEETS.md says how).")
        elif not packs:
            print("  No pack can be worked out yet: the readings it needs are not in.")
        shown = list(packs)
        print_sums([packs[i] for i in shown], {n: mine.get(i, ()) for n, i in enumerate(shown)})
        if arguments.take:
            _take(arguments, log, story.job.job, [f for found in mine.values() for f in found])
    return 0


def _take(arguments: argparse.Namespace, log: Log, job: str, fits: Sequence[Fit]) -> None:
    from qclog.services.keeping import stock

    ready = [f for f in fits if f.choice is not None and f.choice.reached]
    if not ready:
        raise InputError("there is no pack inside its tolerance to take", field="take", found=job)
    for fit in ready:
        pack = fit.choice.suggested if fit.choice else None
        if pack is not None and fit.wanted.stock_set is not None:
            submission = options.submission_of(arguments, f"shims for job {job}")
            person = options.named_person(arguments)
            stock.take_leaves(log, fit.wanted.stock_set, pack, job, submission, person=person)
            print(f"booked out of {fit.wanted.stock_set} to job {job}: {pack.text()}")
