"""Before a job is dispatched: what stands against it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from qclog import resources
from qclog.cli import main
from qclog.domain.jobs import Gauge
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.errors import InputError, UnknownNameError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import people
from qclog.services.overview.sign_off import before_dispatch
from qclog.services.tracing import comeback_risk
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import submission
from tests.workshop_with_a_batch import START, add_units


@pytest.fixture
def shop(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    return log


def test_a_sound_job_has_nothing_against_it_but_its_missing_places(shop: Log) -> None:
    found = before_dispatch(shop, "K-010")
    assert (found.outside, found.close, found.odd, found.gauges, found.findings) == ((), (), (), (), ())
    assert any("Cover stand-off, final, at 12" in m for m in found.missing)
    assert "0 units of 60 came back, 58 unit-months: 0 in 100 unit-months (95 % interval under 6.3)" in found.comebacks
    with pytest.raises(UnknownNameError):
        before_dispatch(shop, "K-999")


def test_the_batch_and_the_odd_reading_are_named(shop: Log) -> None:
    found = before_dispatch(shop, "K-044")
    assert any("Batch M09 suggests odd machining" in f and "Such units: " in f for f in found.findings)
    assert not found.clear
    finding_life.note_finding(shop, "M09", "rejected", "Heron", submission(), found="bare cases are sound")
    assert not any("M09" in f for f in before_dispatch(shop, "K-044").findings)


def test_a_far_reading_inside_limits_is_odd_and_one_outside_is_told_once(shop: Log, tmp_path: Path) -> None:
    add_units(shop, tmp_path / "one", 70, 1, high=25.0)
    (odd,) = before_dispatch(shop, "K-070").odd
    assert odd.startswith("Trial pack, trial: 6")
    assert "above the middle of its kind (40" in odd
    assert "n = 60 others" in odd


def test_few_sound_jobs_are_called_odd(shop: Log) -> None:
    """Normal readings without the batch: one job in a hundred is meant to be; of 52 at most 3 (binomial, p < 0.002)."""
    watched = finding_life.watch(shop)
    sound = [f"K-{i:03}" for i in range(60) if not 40 <= i < 48]
    assert sum(bool(before_dispatch(shop, job, watched).odd) for job in sound) <= 3


def test_a_dropped_gauge_is_named_from_good_check_to_good_check(shop: Log) -> None:
    def check(day: int, event: str, reading: float | None = None) -> None:
        at = START + timedelta(days=day)
        reference = None if reading is None else 10.0
        people.check_gauge(shop, "TQ-1", event, submission(), at=at, reference=reference, reading=reading)

    assert any("TQ-1, which no good check before" in said for said in before_dispatch(shop, "K-049").unchecked)
    check(45, "check", 10.0)
    check(50, "dropped")
    assert before_dispatch(shop, "K-044").gauges == ()
    for job, order in (("K-049", "after"), ("K-055", "before")):
        (said,) = before_dispatch(shop, job).gauges
        assert said.startswith(f"1 reading with TQ-1: dropped {order} it was read, ")
    check(52, "check", 10.1)
    assert before_dispatch(shop, "K-055").gauges == ()
    assert before_dispatch(shop, "K-051").gauges != ()


def test_an_overdue_gauge_is_named_at_sign_off(shop: Log) -> None:
    late = Gauge("TQ-9", "torque", "lbf·in", 0.1, (), date(2026, 2, 1))
    people.add_gauge(shop, late, submission())
    how = Circumstances("Ash", "TQ-9", START + timedelta(days=60), ("oiled", "rotating"))
    capture.take(shop, Place("K-012", "torque", "final"), "12", how, submission())
    assert before_dispatch(shop, "K-012").gauges == (
        "1 reading with TQ-9: its calibration was due 2026-02-01; no good check before; no good check since",
    )


def test_a_concession_and_outstanding_work_are_told(shop: Log) -> None:
    jobs.say(shop, "K-010", "concession", "spread 1 over, J. agreed", submission())
    jobs.say(shop, "K-010", "outstanding", "paint", submission())
    found = before_dispatch(shop, "K-010")
    assert found.concession == "spread 1 over, J. agreed"
    assert ("Outstanding", ("paint",)) in found.sections


def test_a_concession_holds_for_what_was_outside_when_it_was_granted(shop: Log) -> None:
    how = Circumstances("Ash", None, None, ("oiled", "rotating"))
    capture.take(shop, Place("K-010", "torque", "final"), "30", how, submission())
    assert not before_dispatch(shop, "K-010").conceded
    jobs.say(shop, "K-010", "concession", "stiff new seal (Heron)", submission())
    assert before_dispatch(shop, "K-010").conceded
    capture.take(shop, Place("K-010", "torque", "final"), "35", how, submission())
    found = before_dispatch(shop, "K-010")
    assert not found.conceded
    assert "read since then, so it needs another" in found.sections[0][0]
    jobs.say(shop, "K-010", "concession", "stiff new seal, again (Heron)", submission())
    assert before_dispatch(shop, "K-010").conceded


def test_comebacks_per_time_out_have_an_exact_interval() -> None:
    """10 units out, 4 comebacks; 30.4375-day months. Exact Poisson limits of 4: 1.0899 and 10.2416 (Garwood 1936)."""
    start = datetime(2026, 1, 1)
    out = pl.DataFrame(
        {
            "job": [f"J{i}" for i in range(12)],
            "case_type": ["A"] * 12,
            "dispatched": [start] * 10 + [None, start + timedelta(days=304.375)],
        }
    )
    back = pl.DataFrame(
        {
            "job": ["J0", "J1", "J2", "J3", "J4"],
            "returned": [start + timedelta(days=152.1875)] * 5,
            "attributable": ["yes", None, "open", "yes", "no"],
        }
    )
    rows = comeback_risk.months_out(out, back, start + timedelta(days=304.375))
    assert rows["months"].round(6).to_list() == [5.0] * 4 + [10.0] * 6 + [0.0]
    risk = comeback_risk.risk_of(rows)
    assert (risk.out, risk.comebacks, risk.months) == (11, 4, pytest.approx(80.0))
    assert risk.rate == pytest.approx(5.0)
    assert risk.lower == pytest.approx(1.0899 / 0.8, rel=1e-4)
    assert risk.upper == pytest.approx(10.2416 / 0.8, rel=1e-4)
    assert risk.text.startswith("5 units of 11 came back, 4 of them ours or undecided, 80 unit-months: 5 in 100")
    until = start + timedelta(days=304.375)
    compared = comeback_risk.compare(rows, ["J0"], until)
    assert compared.found is not None
    assert compared.found.p_value == pytest.approx(1 - (15 / 16) ** 4)  # one of four in 5 of 80 months
    assert not compared.more_often
    assert "5 times as often, 95 % interval 0.095 to 62: not settled" in compared.text
    assert comeback_risk.compare(rows, ["J0"], until, without=["J0"]).text.startswith("none like it has been out")
    assert "nothing to compare" in comeback_risk.compare(rows, ["J11"], until).text
    assert "not settled" in comeback_risk.compare(rows.filter(back=0), ["J9"], until).text


def test_the_dropped_gauge_of_the_sample_workshop_touches_22_jobs(tmp_path: Path) -> None:
    """The sample workshop was made with 22 jobs read with DT-2 between its drop and its withdrawal."""
    log = Log(tmp_path / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission(), timezone="Europe/London")
    watched = finding_life.watch(log)
    with log.reading() as use:
        numbers = sorted(
            {r["job"] for r in use.frame("readings_for_watch").iter_rows(named=True) if r["gauge"] == "DT-2"}
        )
    assert len(numbers) > 22
    touched = [job for job in numbers if any("DT-2" in g for g in before_dispatch(log, job, watched).gauges)]
    assert len(touched) == 22


def test_the_terminal_tells_before_the_job_is_marked_as_gone(
    shop: Log, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(shop.path))
    monkeypatch.setenv("QCLOG_PERSON", "Heron")
    assert main(["job", "check", "K-044"]) == 0
    assert "Touched by a finding that stands" in capsys.readouterr().out
    assert main(["job", "set", "K-044", "dispatched", now().isoformat()]) == 0
    out = capsys.readouterr().out
    assert out.index("Before job K-044 is dispatched") < out.index("dispatched is now")
    assert "people decide" in out


def test_what_is_unlikely_or_has_no_gauge_is_listed_and_stops_it(shop: Log) -> None:
    """The trial pack of the sheet is read with a micrometer; a stand-off over 60 thou is not plausible."""
    at = Place("K-010", "stand_off", "final", "12")
    capture.take(shop, at, "70", Circumstances("Ash"), submission())
    found = before_dispatch(shop, "K-010")
    (unlikely,) = found.unlikely
    assert "70 thou, over 60 thou: is it right?" in unlikely
    assert any("names no gauge; a feeler is wanted (1 reading)" in line for line in found.ungauged)
    assert found.needs_concession
    assert not found.clear
    headings = [heading for heading, _ in found.sections]
    assert "Unlikely, and nobody has put it right" in headings
    wrong = Circumstances("Ash", gauge="MC-1")
    capture.take(
        shop, Place("K-010", "torque", "final"), "12", replace(wrong, conditions=("oiled", "rotating")), submission()
    )
    told = before_dispatch(shop, "K-010").ungauged
    assert any("was read with MC-1, a micrometer; a torque is wanted" in line for line in told)


@pytest.mark.parametrize("said", ["x", "ok", "....", "1 2"])
def test_a_concession_says_what_is_let_pass_and_why(shop: Log, said: str) -> None:
    with pytest.raises(InputError, match="reason in words") as caught:
        jobs.say(shop, "K-010", "concession", said, submission())
    assert caught.value.field == "concession"
    assert before_dispatch(shop, "K-010").concession is None
