"""Where a unit is, and on which day, is one answer on every screen."""

from __future__ import annotations

from datetime import datetime

import pytest

from qclog.cli import main
from qclog.domain import stored
from qclog.domain.jobs import Job
from qclog.services.jobs import jobs
from qclog.services.jobs.whereabouts import jobs_out, read_jobs_out
from qclog.services.tracing.shop import read_shop
from qclog.store.log import Log
from tests import stored_rows
from tests.conftest import submission


def row(job: str, serial: str | None, opened: int, dispatched: int | None) -> stored.Job:
    left = None if dispatched is None else datetime(2026, 2, dispatched)
    return stored_rows.job(job, case_serial=serial, opened=datetime(2026, 1, opened), dispatched=left)


def test_a_unit_that_is_here_again_as_another_job_is_not_out() -> None:
    rows = [row("J-1", "S-9", 1, 1), row("J-2", "S-9", 20, None), row("J-3", "S-8", 2, 2), row("J-4", None, 3, 3)]
    assert jobs_out(rows) == {"J-3", "J-4"}
    rows[1] = rows[1]._replace(dispatched=datetime(2026, 2, 20))
    assert jobs_out(rows) == {"J-1", "J-2", "J-3", "J-4"}


def test_the_shop_of_a_trace_and_the_list_of_findings_say_the_same(sample: Log) -> None:
    shop = read_shop(sample)
    out = read_jobs_out(sample)
    assert {job for job in shop.by_job if not shop.is_here(job)} == out
    for job in shop.by_job:
        assert ("in the shop" in shop.where_now(job)) == (job not in out), job


def test_the_list_and_the_job_name_the_same_day(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    """Opened at half past midnight of 1 July in London, which is 30 June in UTC."""
    jobs.open_job(log, Job("J-2", "MR-1", datetime(2026, 6, 30, 23, 30)), submission("job"))
    assert main(["job", "list", "J-2", "--log", str(log.path)]) == 0
    listed = capsys.readouterr().out
    assert main(["job", "show", "J-2", "--log", str(log.path)]) == 0
    shown = capsys.readouterr().out
    assert "2026-07-01" in listed
    assert "2026-07-01" in shown
    assert "2026-06-30" not in listed + shown
