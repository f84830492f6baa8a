"""Where units are: in the shop, as the job that is asked for or as a later one of the same case, or out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from qclog.domain import stored

if TYPE_CHECKING:
    from qclog.store.log import Log


def jobs_out(jobs: Iterable[stored.Job]) -> set[str]:
    """The jobs whose unit is not in the shop: it left, and no later job of the same case is still here.

    `jobs` have job, case_type, case_serial, opened and dispatched; all of the log's, so that later visits are seen.
    """
    last: dict[tuple[str, str], stored.Job] = {}
    rows = list(jobs)
    for row in rows:
        if row.case_serial:
            key = row.case_type, row.case_serial
            if key not in last or (row.opened, row.job) > (last[key].opened, last[key].job):
                last[key] = row
    out = set()
    for row in rows:
        latest = last.get((row.case_type, row.case_serial), row) if row.case_serial else row
        if row.dispatched is not None and latest.dispatched is not None:
            out.add(row.job)
    return out


def read_jobs_out(log: Log) -> set[str]:
    """`jobs_out` of the log as it is."""
    with log.reading() as use:
        return jobs_out(use.rows("jobs_all", stored.Job))
