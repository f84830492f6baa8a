"""Everything the bench page shows, from one opening of the log: each opening costs as much as all its queries."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from qclog.domain import stored
from qclog.domain.sheets.casetypes import Characteristic, Sheet
from qclog.services.jobs import jobs
from qclog.services.jobs.capture import Taken, leaves_in
from qclog.services.jobs.jobs import Story, Wanted
from qclog.services.keeping import people, sheets, signing_on
from qclog.services.keeping.signing_on import Worker
from qclog.services.series import history
from qclog.store.log import Log

if TYPE_CHECKING:
    import polars as pl


MOST_IN_WORK = 500


@dataclass(frozen=True, slots=True)
class Around:
    """What is round every bench and seldom changes: people still here, gauges not withdrawn, the sheets."""

    workers: tuple[Worker, ...]
    gauges: tuple[stored.Gauge, ...]
    sheets: dict[str, Sheet]


@dataclass(frozen=True, slots=True)
class BenchView:
    """`in_work`: jobs that have not left, the last touched first. `last_standing`: where the last reading stands among
    its kind; empty without one.
    """

    around: Around
    in_work: tuple[stored.JobInWork, ...]
    story: Story | None
    last_of: Characteristic | None
    last_standing: str


def look_around(log: Log) -> Around:
    """What is round every bench."""
    with log.reading() as use:
        return Around(
            workers=tuple(w for w in signing_on.workers(log) if not w.has_left),
            gauges=tuple(g for g in people.list_gauges(log) if not g.withdrawn),
            sheets={code: sheets.latest(use, code) for code in sheets.known_case_types(use)},
        )


def look(
    log: Log,
    job: str | None,
    last: Taken | None,
    around: Around | None = None,
    rows_of: Callable[[str, str], pl.DataFrame] | None = None,
) -> BenchView:
    """The bench for `job` (None: none chosen yet), after `last` was read there. UnknownNameError if there is no such
    job.

    `around` and `rows_of` (the rows of the series of a case type's characteristic) spare reading what is known.
    """
    with log.reading() as use:
        story = None if job is None else jobs.tell(log, job)
        view = BenchView(
            around=around or look_around(log),
            in_work=tuple(use.rows("jobs_in_work", stored.JobInWork, most=MOST_IN_WORK)),
            story=story,
            last_of=None,
            last_standing="",
        )
        if story is None or last is None or last.place.job != job:
            return view
        from qclog.services.series.series import read_series  # which loads polars and numpy

        code = last.place.characteristic
        rows = rows_of(story.sheet.code, code) if rows_of else read_series(log, story.sheet.code, code).rows
        return replace(
            view, last_of=story.sheet.characteristic(code), last_standing=history.standing_in(rows, story, last)
        )


def leaves_of(gauge: stored.Gauge | None, wanted: Wanted) -> tuple[Fraction, ...]:
    """The leaves of a feeler in the unit of what is wanted; none for another kind of gauge, or a word."""
    if gauge is None or gauge.kind != "feeler" or wanted.characteristic.in_words:
        return ()
    return leaves_in(gauge.leaves or "", gauge.unit, wanted.characteristic.unit)


def likely(story: Story, wanted: Wanted) -> Fraction:
    """About what a reading will be: the last of the same characteristic in this job, else the middle of its limits."""
    same = [
        r.row
        for r in story.readings
        if r.row.counts and r.row.characteristic == wanted.place.characteristic and r.row.low is not None
    ]
    if same:
        return Fraction(str(same[-1].low))
    limits = story.limits_for(wanted)
    known = [x for x in (limits.lower, limits.upper) if x is not None] if limits is not None else []
    return Fraction(str(sum(known) / len(known))) if known else Fraction(0)
