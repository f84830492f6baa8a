"""`qclog chart`: a characteristic over time in the terminal, to a file, or as JSON."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qclog.cli import options
from qclog.domain.jobs import STAGES

if TYPE_CHECKING:
    from qclog.services.series.case_chart import CaseChart
    from qclog.services.series.chart_aids import Aid

_WIDTH = 48


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("chart", help="a characteristic over time, its spread and its limits")
    parser.add_argument("case_type")
    parser.add_argument("characteristic")
    parser.add_argument("--stage", choices=STAGES, help="before strip, at the trial, as left, or come back")
    parser.add_argument("--parts", choices=("new", "reused"), help="units with new or with re-used parts")
    parser.add_argument("--cases", choices=("machined", "unmachined"), help="machined or unmachined cases")
    parser.add_argument("--out", type=Path, metavar="FILE", help="save the chart as .svg, .png or .html")
    options.add_replace(parser)
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    parser.add_argument("--aid", choices=("runs", "ewma", "cusum"), help="an aid to the eye; it raises no finding")
    parser.add_argument("--last", type=int, default=40, metavar="N", help="how many units to list (default 40)")
    options.add_log(parser, earlier=True)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Show a chart."""
    from qclog.services.series import case_chart

    if arguments.out is not None:
        from qclog.services.keeping import output

        output.check_file(arguments.out, replace=arguments.replace)
    chart = case_chart.chart_case(
        options.log_of(arguments),
        arguments.case_type,
        arguments.characteristic,
        stage=arguments.stage,
        condition=arguments.parts,
        machined=None if arguments.cases is None else arguments.cases == "machined",
    )
    aid = None
    if arguments.aid is not None:
        from qclog.services.series.chart_aids import look

        aid = look(chart, arguments.aid)
    if arguments.out is not None:
        from qclog.services.series import pictures

        pictures.save(chart, arguments.out, aid, replace=arguments.replace)
        print(f"saved {arguments.out}")
    elif arguments.json:
        print(json.dumps(case_chart.as_json(chart), ensure_ascii=False, indent=1))
    else:
        _print(chart, arguments.last)
        if aid is not None:
            _print_aid(aid)
    return 0


def _print_aid(aid: Aid) -> None:
    from qclog.services.series.chart_aids import NAMES

    print(f"\n{NAMES[aid.kind]}, as an aid to the eye: {aid.false_alarm}.")
    for line in aid.lines or ("no unit is marked",):
        print(f"  {line}")
    print("This raises no finding: qclog findings looks at all readings together.")


def _print(chart: CaseChart, last: int) -> None:
    from qclog.services.series.pictures import figure, picture_of, with_unit

    picture = picture_of(chart)
    print(picture.title)
    print(picture.subtitle)
    for warning in chart.warnings:
        print(f"  {warning}")
    if chart.mean is not None:
        s = chart.summary
        spread = f", spread (sd) {with_unit(chart, figure(chart, chart.spread))}" if chart.spread is not None else ""
        ends = f", {s.minimum:g} to {s.maximum:g}" if s is not None else ""
        print(f"mean {with_unit(chart, figure(chart, chart.mean))}{spread}{ends}")
    for line in picture.lines:
        print(f"{'control' if line.whose == 'control' else 'workshop'}: {line.says} {picture.unit}")
    for line in picture.former:
        print(f"before, units {line.first} to {line.last}: {line.says} {picture.unit}")
    if chart.without_value:
        print(f"{chart.without_value} without a number (not accessible and the like), not drawn")
    _print_rows(chart, last)
    others = [g for g in chart.groups if g != chart.group]
    if others:
        print("Not mixed in: " + "; ".join(f"{g.words} (n = {g.n})" for g in others))


def _print_rows(chart: CaseChart, last: int) -> None:
    """The last units as a strip each: | centre, ( ) control limits, o a unit, X one that stands out."""
    from qclog.services.series.pictures import reading_figure

    rows = chart.rows.tail(last)
    if rows.is_empty():
        print("nothing to draw yet")
        return
    values = [*chart.rows["value"], *((chart.drawn.lower, chart.drawn.upper) if chart.drawn else ())]
    low, high = min(values), max(values)
    scale = (_WIDTH - 1) / (high - low) if high > low else 0.0
    print()
    for row in rows.iter_rows(named=True):
        strip = [" "] * _WIDTH
        if chart.drawn is not None:
            for mark, value in (("(", chart.drawn.lower), (")", chart.drawn.upper), ("|", chart.drawn.centre)):
                strip[round((value - low) * scale)] = mark
        strip[round((row["value"] - low) * scale)] = "X" if row["note"] else "o"
        shown = {"below": "<", "above": ">", "": ""}[row["open"]] + reading_figure(chart, row["value"])
        print(f"{row['job']:<12} {shown:>10}  {''.join(strip)}  {row['note']}".rstrip())
    if len(chart.rows) > last:
        print(f"the last {last} of {len(chart.rows)} units; --last N shows more")
