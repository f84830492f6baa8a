"""`qclog gauge`: the gauges, and what happens to them."""

from __future__ import annotations

import argparse
from typing import Any

from qclog.cli import options
from qclog.cli.options import any_of
from qclog.domain.jobs import GAUGE_EVENTS, GAUGE_KINDS
from qclog.errors import InputError


def add_to(commands: Any) -> None:
    """Add the commands."""
    parser = commands.add_parser("gauge", help="gauges: add, list, record a check or a drop")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add = actions.add_parser("add", help="add a gauge")
    add.add_argument("name")
    add.add_argument("--kind", required=True, help=any_of(GAUGE_KINDS))
    add.add_argument("--unit", required=True)
    add.add_argument("--step", required=True, type=float, help="the finest difference it shows, in its unit")
    add.add_argument("--leaves", default="", help="sizes of a feeler's leaves: '1 2 3 4'")
    add.add_argument("--calibration-due", metavar="DATE")
    options.add_log(add)
    options.add_by(add)
    add.set_defaults(run=add_one)
    listing = actions.add_parser("list", help="every gauge with its last check")
    options.add_log(listing, earlier=True)
    listing.set_defaults(run=list_all)
    show = actions.add_parser("show", help="what happened to a gauge, and what it read while it was in doubt")
    show.add_argument("name")
    options.add_log(show, earlier=True)
    show.set_defaults(run=show_one)
    tolerance = actions.add_parser("tolerance", help="set how far a check may be off, in the gauge's unit")
    tolerance.add_argument("name")
    tolerance.add_argument("value", help="a number above 0, or `step`: one step of the gauge, as for every other")
    options.add_log(tolerance)
    options.add_by(tolerance)
    tolerance.set_defaults(run=set_tolerance)
    record = actions.add_parser("record", help="record a check, drop, withdrawal, return or calibration")
    record.add_argument("name")
    record.add_argument("event", help=any_of(GAUGE_EVENTS))
    record.add_argument("--reference", type=float, help="what the check piece is")
    record.add_argument("--reading", type=float, help="what the gauge read on it")
    record.add_argument("--unit")
    record.add_argument("--at", metavar="TIME", help="when (default: now)")
    record.add_argument("--note")
    options.add_log(record)
    options.add_by(record)
    record.set_defaults(run=record_event)


def add_one(arguments: argparse.Namespace) -> int:
    """Add a gauge."""
    from qclog.domain.jobs import Gauge
    from qclog.domain.quantities import units
    from qclog.services.keeping import people

    try:
        leaves = tuple(float(leaf) for leaf in arguments.leaves.split())
    except ValueError as error:
        raise InputError(
            "leaves are sizes separated by spaces", field="leaves", found=arguments.leaves, hint="as '1 1.5 2 3'"
        ) from error
    due = options.day_of("calibration-due", arguments.calibration_due or None)
    unit = units.parse_unit(arguments.unit)
    gauge = Gauge(arguments.name, arguments.kind, unit, arguments.step, leaves, due)
    people.add_gauge(options.log_of(arguments), gauge, options.submission_of(arguments, f"gauge {arguments.name}"))
    print(f"{gauge.gauge} is in the log: {gauge.kind}, {gauge.unit}, step {gauge.step:g}")
    return 0


def list_all(arguments: argparse.Namespace) -> int:
    """List gauges."""
    from qclog.cli.columns import print_columns
    from qclog.services.keeping import people

    rows = [
        (
            r.gauge,
            r.kind,
            r.unit,
            f"{r.step:g}",
            r.last_checked,
            r.last_dropped,
            r.calibration_due,
            "withdrawn" if r.withdrawn else "",
        )
        for r in people.list_gauges(options.log_of(arguments))
    ]
    print_columns(
        ("gauge", "kind", "unit", "step", "last check", "last drop", "calibration due", ""), rows, right=("step",)
    )
    return 0


def show_one(arguments: argparse.Namespace) -> int:
    """Tell the life of one gauge."""
    from qclog.cli.columns import print_columns
    from qclog.domain.moments import show_moment
    from qclog.services.tracing.gauge_life import life_of
    from qclog.services.tracing.shop import read_shop
    from qclog.words.numbers import plural

    shop = read_shop(options.log_of(arguments))
    life = life_of(shop, arguments.name)
    g = life.gauge
    print(f"{g.gauge}: {g.kind}, {g.unit}, step {g.step:g}; a check may be off by {life.tolerance:g} {g.unit}")
    rows = []
    for e, off, good in life.events:
        when, unit = show_moment(e.checked_at, shop.zone), e.unit or g.unit
        rows.append((when, e.event, e.reference, e.reading, off, unit, good, e.by, e.note))
    right = ("reference", "reading", "off by")
    print_columns(("when", "what", "reference", "reading", "off by", "unit", "", "by", "note"), rows, right=right)
    print()
    for s in life.stretches:
        begins = f"from {show_moment(s.since, shop.zone)[:10]}" if s.since else "from the beginning"
        ends = f"to {show_moment(s.until, shop.zone)[:10]}" if s.until else "on"
        print(f"{s.state.upper()} {begins} {ends}: {plural(s.readings, 'reading')} of {plural(len(s.jobs), 'job')}")
        if s in life.doubtful:
            print(f"  {s.why}")
            print(f"  jobs: {', '.join(s.jobs)}")
            print(f"  still here: {', '.join(s.here) or 'none'}")
    return 0


def set_tolerance(arguments: argparse.Namespace) -> int:
    """Set the tolerance of a gauge's checks."""
    from qclog.services.keeping import people

    try:
        value = None if arguments.value.strip().lower() == "step" else float(arguments.value)
    except ValueError as error:
        raise InputError(
            "a tolerance is a number", field="tolerance", found=arguments.value, hint="as 0.5, in the gauge's unit"
        ) from error
    log = options.log_of(arguments)
    people.set_tolerance(log, arguments.name, value, options.submission_of(arguments, f"tolerance of {arguments.name}"))
    print(f"checks of {arguments.name} may be off by {'one step' if value is None else format(value, 'g')}")
    return 0


def record_event(arguments: argparse.Namespace) -> int:
    """Record an event of a gauge."""
    from qclog.domain.moments import now, read_moment
    from qclog.services.keeping import people, sheets

    log = options.log_of(arguments)
    zone = sheets.zone_of(log)
    at = read_moment(arguments.at, zone) if arguments.at else now()
    people.check_gauge(
        log,
        arguments.name,
        arguments.event,
        options.submission_of(arguments, f"gauge {arguments.name} {arguments.event}"),
        at=at,
        reference=arguments.reference,
        reading=arguments.reading,
        unit=arguments.unit,
        by=arguments.by,
        note=arguments.note,
    )
    print(f"{arguments.name}: {arguments.event} recorded")
    return 0
