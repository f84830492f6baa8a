"""Charts across a recorded change: each stretch has its own limits."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from qclog.domain.findings import Change
from qclog.services.keeping import changes
from qclog.services.series.case_chart import chart_case
from qclog.store.log import Log
from tests.conftest import submission
from tests.workshop_with_a_batch import START, add_units

CHANGE = Change("new setup", START + timedelta(days=80), "Heron", "MR-1", "trial_pack", note="new boring bar")


@pytest.fixture
def shop(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    return log


def test_the_chart_takes_its_limits_from_the_time_since_the_change(shop: Log, tmp_path: Path) -> None:
    add_units(shop, tmp_path / "more", 80, 40, high=6.0)
    whole = chart_case(shop, "MR-1", "trial_pack", machined=True)
    changes.record_change(shop, CHANGE, submission())
    split = chart_case(shop, "MR-1", "trial_pack", machined=True)
    assert whole.drawn is not None
    assert split.drawn is not None
    assert len(split.eras) == 2
    old, new = split.eras
    mean = split.rows.filter(pl.col("era") == 1)["value"].mean()
    assert split.drawn.centre == pytest.approx(mean)
    assert (old.n, new.n) == (60, 40)
    assert old.limits is not None
    assert old.limits.centre == pytest.approx(split.rows.filter(pl.col("era") == 0)["value"].mean())
    assert new.change is not None
    assert new.change.note == "new boring bar"
    assert whole.eras == ()


def test_too_few_since_a_change_is_said(shop: Log, tmp_path: Path) -> None:
    add_units(shop, tmp_path / "more", 80, 4, high=6.0)
    changes.record_change(shop, CHANGE, submission())
    chart = chart_case(shop, "MR-1", "trial_pack", machined=True)
    assert chart.drawn is None
    assert any("of the 4 units since 2026-03-26 (new setup: new boring bar)" in w for w in chart.warnings)
    assert any("4 of the 10" in w for w in chart.warnings)
