"""The sample workshop built in a new log, and the main job shown on it."""

from __future__ import annotations

from collections.abc import Iterator

from qclog import resources
from qclog.domain import stored
from qclog.errors import LogError, QclogError
from qclog.services.exchange.import_folder import NOUNS, import_folder
from qclog.services.series import case_chart, pictures
from qclog.store.log import Log, Submission

TIMEZONE = "Europe/London"
SHOWN = ("LR-2", "recess")


def build(log: Log) -> Iterator[str]:
    """Build the sample workshop in `log`, saying what happens. A log that has it already is shown as it is.

    LogError if there is a log with something else in it.
    """
    folder = resources.folder("sample_data")
    if log.exists():
        with log.reading() as use:
            mine = any(row.what == "sample workshop" for row in use.rows("entries", stored.Entry))
        if not mine:
            raise LogError("there is another log here", field="log", found=log.path, hint="name a new file with --log")
        yield f"{log.path} holds the sample workshop already"
    else:
        yield f"Building the invented sample workshop in {log.path} ..."
        done = import_folder(log, folder, Submission("demo", "demo", "sample workshop"), timezone=TIMEZONE)
        yield ", ".join(
            f"{count:,} {NOUNS.get(table, table.replace('_', ' '))}" for table, count in done.added if count
        )
    yield ""
    try:
        yield from _show(log)
    except QclogError as error:
        yield f"The sample workshop is built, and all of it stored. It can't be shown now: {error}"
    yield ""
    yield f"Try: qclog chart {SHOWN[0]} {SHOWN[1]} --log {log.path}   or   qclog job list M07 --log {log.path}"


def _show(log: Log) -> Iterator[str]:
    chart = case_chart.chart_case(log, *SHOWN, machined=True)
    picture = pictures.picture_of(chart)
    yield f"{picture.title}: {picture.subtitle}"
    for line in picture.lines:
        yield f"  {line.says} {picture.unit}"
    odd = chart.flagged
    yield f"  {len(odd)} of {len(chart.rows)} stand out" + (":" if len(odd) else "")
    for row in odd.iter_rows(named=True):
        batch = f", machining batch {row['machining_batch']}" if row["machining_batch"] else ""
        yield f"    job {row['job']}: {pictures.row_text(chart, row)}, {row['note']}{batch}"
