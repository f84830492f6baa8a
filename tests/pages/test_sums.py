"""The sums of the bench on the bench page."""

from __future__ import annotations

import pytest

from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimSize
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import sheets, stock
from qclog.store.log import Log
from tests.conftest import SHEET, submission
from tests.pages.conftest import open_page
from tests.pages.test_pages import texts

PACK = """
[[sum]]
kind = "pack"
code = "cover"
name = "Output cover"
shim_location = "under_bearing"
gap = "stand_off"
trial_pack = "trial_pack"
pinch = 4
limits = { lower = 3, upper = 5.5 }
stock = "S-A"
"""


@pytest.fixture
def bench(log: Log, monkeypatch: pytest.MonkeyPatch) -> Log:
    """A log with a sheet that asks for a pack, and a job on it with its trial pack read."""
    sheets.add(log, read_sheet(SHEET.replace('version = "1"', 'version = "2"') + PACK), submission())
    jobs.open_job(log, Job("J-2", "MR-1", now()), submission())
    capture.take(log, Place("J-2", "trial_pack", "trial"), "40", Circumstances("Ash"), submission())
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    return log


def read_gap(log: Log, *texts_read: str) -> None:
    for position, text in zip(("12", "3", "6", "9"), texts_read, strict=True):
        capture.take(
            log, Place("J-2", "stand_off", "trial", position), text, Circumstances("Ash", "FG-1"), submission()
        )


def at_the_bench() -> str:
    app = open_page("bench", job="J-2")
    app.selectbox(key="person").set_value("Ash").run()
    assert not app.exception, app.exception
    return texts(app)


def test_the_pack_stands_beside_the_field_once_the_trial_is_read(bench: Log) -> None:
    assert "pack wanted" not in at_the_bench()
    read_gap(bench, "15/16", "14/16", "15/16", "15/16")
    shown = at_the_bench()
    assert "From the readings so far" in shown
    assert "Output cover: pack wanted 28.6 thou, give or take" in shown
    assert "40 - 15.375 = 24.625 recess; 24.625 + 4 pinch = 28.625" in shown
    assert "the stock set S-A is not in the log yet" in shown
    assert "A trial fit decides; the maker's manual decides." in shown
    assert "Implied recess, trial: 24.6" in shown


def test_the_leaves_to_fit_are_named(bench: Log) -> None:
    for size in (20, 5, 3, 1):
        stock.add_leaves(bench, ShimSize("S-A", size, size, "thou"), 2, submission())
    read_gap(bench, "15/16", "15/16", "15/16", "15/16")
    shown = at_the_bench()
    assert "fit 20+5+3 = 28" in shown
    assert "chance" in shown


def test_a_cover_that_is_flush_is_told(bench: Log) -> None:
    read_gap(bench, "no leaf enters", "2/3", "2/3", "2/3")
    assert "flush with the case" in at_the_bench()


def test_one_spot_is_pointed_out(bench: Log) -> None:
    read_gap(bench, "15/16", "15/16", "21/22", "15/16")
    assert "stands out at 6 alone" in at_the_bench()
