"""Everything the bench page shows, from one opening of the log: each opening costs as much as all its queries."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from qclog.domain.casetypes import Characteristic
from qclog.services import history, jobs, people, sheets, signing_on
from qclog.services.capture import Taken, leaves_in
from qclog.services.jobs import Story, Wanted
from qclog.services.signing_on import Worker
from qclog.store.log import Log

MOST_IN_WORK = 500


@dataclass(frozen=True, slots=True)
class BenchView:
    """`in_work`: jobs that have not left, the last touched first. `gauges`: those not withdrawn. `last_standing`: where
    the last reading stands among its kind; empty without one.
    """

    workers: tuple[Worker, ...]
    in_work: tuple[dict[str, Any], ...]
    gauges: tuple[dict[str, Any], ...]
    sheets: dict[str, str]
    story: Story | None
    last_of: Characteristic | None
    last_standing: str


def look(log: Log, job: str | None, last: Taken | None) -> BenchView:
    """The bench for `job` (None: none chosen yet), after `last` was read there. UnknownNameError if there is no such
    job.
    """
    with log.reading() as use:
        here = last if last is not None and last.place.job == job else None
        return BenchView(
            workers=tuple(w for w in signing_on.workers(log) if not w.has_left),
            in_work=tuple(use.rows("jobs_in_work", most=MOST_IN_WORK)),
            gauges=tuple(g for g in people.list_gauges(log) if not g["withdrawn"]),
            sheets={code: sheets.latest(use, code).name for code in sheets.known_case_types(use)},
            story=None if job is None else jobs.tell(log, job),
            last_of=None if here is None else history.characteristic_of(log, here.place),
            last_standing="" if here is None else history.standing(log, here),
        )


def leaves_of(gauge: dict[str, Any] | None, wanted: Wanted) -> tuple[Fraction, ...]:
    """The leaves of a feeler in the unit of what is wanted; none for another kind of gauge, or a word."""
    if gauge is None or gauge["kind"] != "feeler" or wanted.characteristic.in_words:
        return ()
    return leaves_in(gauge["leaves"] or "", gauge["unit"], wanted.characteristic.unit)


def likely(story: Story, wanted: Wanted) -> Fraction:
    """About what a reading will be: the last of the same characteristic in this job, else the middle of its limits."""
    same = [
        r.row
        for r in story.readings
        if r.row["counts"] and r.row["characteristic"] == wanted.place.characteristic and r.row["low"] is not None
    ]
    if same:
        return Fraction(str(same[-1]["low"]))
    limits = story.limits_for(wanted)
    known = [x for x in (limits.lower, limits.upper) if x is not None] if limits is not None else []
    return Fraction(str(sum(known) / len(known))) if known else Fraction(0)
