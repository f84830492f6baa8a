"""Aids to the eye on a chart, and what they draw."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.domain.findings import Change
from qclog.errors import InputError
from qclog.services.keeping import changes
from qclog.services.series import pictures
from qclog.services.series.case_chart import chart_case
from qclog.services.series.chart_aids import look
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import submission
from tests.workshop_with_a_batch import HIGH, START, add_units

BATCH = {f"K-{i:03}" for i in HIGH}


@pytest.fixture
def shop(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    return log


@pytest.mark.parametrize(("kind", "at_least"), [("runs", 4), ("ewma", 4), ("cusum", 4)])
def test_each_aid_marks_most_of_the_batch(shop: Log, kind: str, at_least: int) -> None:
    aid = look(chart_case(shop, "MR-1", "trial_pack", machined=True), kind)
    assert len(BATCH & set(aid.marks["job"])) >= at_least
    assert aid.lines
    assert (aid.average is not None) is (kind == "ewma")


@pytest.mark.parametrize(
    ("kind", "every"),
    [("runs", 73), ("ewma", 370), ("cusum", 370)],
)
def test_how_often_each_cries_wolf_is_said(shop: Log, kind: str, every: int) -> None:
    """Eight run tests: 73 by our own exact chain, checked by simulation in tests/reference; the others by design."""
    aid = look(chart_case(shop, "MR-1", "trial_pack", machined=True), kind)
    assert aid.false_alarm.startswith(f"a false alarm every {every} units")


def test_an_aid_raises_no_finding(shop: Log) -> None:
    before = finding_life.watch(shop).standing
    look(chart_case(shop, "MR-1", "trial_pack", machined=True), "runs")
    assert finding_life.watch(shop).standing == before


def test_an_aid_looks_only_since_the_last_change(shop: Log) -> None:
    since = START + timedelta(days=48)
    changes.record_change(shop, Change("other", since, "Ash", "MR-1"), submission())
    aid = look(chart_case(shop, "MR-1", "trial_pack", machined=True), "ewma")
    assert aid.average is not None
    assert aid.average["order"].to_list() == list(range(49, 61))
    assert not BATCH & set(aid.marks["job"])


def test_too_few_or_unknown_is_told(shop: Log) -> None:
    chart = chart_case(shop, "MR-1", "trial_pack", machined=True)
    with pytest.raises(InputError, match="no such aid"):
        look(chart, "waves")
    changes.record_change(shop, Change("other", START + timedelta(days=55), "Ash", "MR-1"), submission())
    with pytest.raises(InputError, match="too few"):
        look(chart_case(shop, "MR-1", "trial_pack", machined=True), "runs")


def test_the_picture_keeps_old_limits_and_shows_the_change(shop: Log, tmp_path: Path) -> None:
    change = Change("new setup", START + timedelta(days=30), "Ash", "MR-1", note="bar relined")
    changes.record_change(shop, change, submission())
    chart = chart_case(shop, "MR-1", "trial_pack", machined=True)
    aid = look(chart, "ewma")
    picture = pictures.picture_of(chart, aid)
    assert [(line.first, line.last) for line in picture.former] == [(1, 30)] * 3
    assert {line.first for line in picture.lines if line.whose == "control"} == {31}
    assert picture.breaks == [(31, "2026-02-04 new setup: bar relined")]
    pictures.save(chart, tmp_path / "chart.svg", aid)
    text = (tmp_path / "chart.svg").read_text(encoding="utf-8")
    assert "bar relined" in text
    assert "upper control limit" in text


def test_the_terminal_prints_an_aid_under_the_chart(
    shop: Log, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(shop.path))
    assert main(["chart", "MR-1", "trial_pack", "--cases", "machined", "--aid", "cusum"]) == 0
    out = capsys.readouterr().out
    assert "as an aid to the eye: a false alarm every 370 units" in out
    assert "points to a shift high from about job K-0" in out
    assert "This raises no finding" in out
