"""What left and what was known that day, whatever is entered later; each case was seen to be said otherwise before."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import duckdb
import pytest
from scipy import stats

from qclog.charts.gauge_time import draw_gauge
from qclog.cli import main
from qclog.domain.jobs import Gauge, Job, Part
from qclog.domain.places import Place
from qclog.report.html import write_html
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.as_left import as_left
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import people
from qclog.services.papers.build_record import build_record
from qclog.services.papers.monthly_review import monthly_review
from qclog.services.tracing import comeback_risk
from qclog.services.tracing.evidence import NOT_OURS, OPEN
from qclog.services.tracing.gauge_days import DOUBT, RIGHT, UNKNOWN
from qclog.services.tracing.gauge_life import life_of, picture_of_life
from qclog.services.tracing.shop import read_shop
from qclog.services.tracing.tracing import UnitTrace, trace
from qclog.store.log import Log, Submission
from tests.conftest import copied, submission

HERON = submission(by="Heron")
ASH = Circumstances("Ash", None, None, ())


def heron(what: str = "test") -> Submission:
    return submission(what, by="Heron")


@pytest.fixture
def workshop(sample: Log, tmp_path: Path) -> Log:
    """The sample workshop, to be written to."""
    return copied(sample, tmp_path)


def unit_of(log: Log, job: str) -> UnitTrace:
    found = trace(log, job)
    assert found.unit is not None
    return found.unit


@pytest.fixture
def left(log: Log) -> Log:
    """J-1, read low at one place and inside at the other, and signed off by Heron."""
    for position, text in (("12", "4"), ("3", "19.5")):
        capture.take(log, Place("J-1", "stand_off", "final", position), text, ASH, submission())
    jobs.say(log, "J-1", "dispatched", datetime(2026, 4, 1, 12), heron())
    return log


def test_a_gauge_found_off_after_a_reading_puts_it_in_doubt(workshop: Log) -> None:
    before = {g.gauge: g.state for g in unit_of(workshop, "J0118").gauges}
    assert before["FG-3"] != DOUBT
    people.check_gauge(workshop, "FG-3", "check", heron(), at=datetime(2025, 8, 30, 12), reference=20, reading=14)
    day = next(g for g in unit_of(workshop, "J0118").gauges if g.gauge == "FG-3")
    assert (day.state, day.off) == (DOUBT, -6)
    assert "found off after it was read, 2025-08-30 read 14 on 20" in day.why


def test_years_between_a_good_check_and_a_bad_one_are_all_in_doubt(log: Log) -> None:
    people.check_gauge(log, "FG-1", "check", heron(), at=datetime(2025, 1, 5), reference=20, reading=20)
    how = Circumstances("Ash", "FG-1", datetime(2025, 6, 1), ())
    capture.take(log, Place("J-1", "stand_off", "final", "12"), "19/20", how, submission())
    assert [g.state for g in unit_of(log, "J-1").gauges] == [UNKNOWN]
    people.check_gauge(log, "FG-1", "check", heron(), at=datetime(2026, 6, 1), reference=20, reading=17)
    assert [g.state for g in unit_of(log, "J-1").gauges] == [DOUBT]
    assert set(trace(log, "FG-1").subject.jobs) == {"J-1"}


def test_right_is_said_of_what_is_known_only(workshop: Log) -> None:
    unit = unit_of(workshop, "J0118")
    for day in unit.gauges:
        vouched = "last good check" in day.why and "next good check" in day.why
        assert (day.state == RIGHT) == vouched, day


def test_a_correction_after_it_left_does_not_change_what_left(left: Log) -> None:
    record = write_html(build_record(left, "J-1"))
    outside = unit_of(left, "J-1").outside
    assert len(outside) == 1
    capture.correct(left, Place("J-1", "stand_off", "final", "12"), 1, "19.5", "mistyped", ASH, heron())
    jobs.say(left, "J-1", "concession", "agreed with the customer", heron())
    jobs.say(left, "J-1", "outstanding", "paint", heron())
    unit = unit_of(left, "J-1")
    assert unit.outside == outside
    assert (unit.points[0].about, unit.points[0].in_sight) == (outside[0].text, True)
    assert "no concession is recorded" in unit.points[0].reason
    assert not any("left with this outstanding" in p.about for p in unit.points)
    assert unit.left is not None
    told = [unit.left.later_text(one) for one in unit.left.later]
    assert ["mistyped" in t or "concession: agreed" in t or "outstanding: paint" in t for t in told] == [True] * 3
    assert all(t.startswith("entered ") and " by Heron: " in t for t in told)
    again = write_html(build_record(left, "J-1"))
    section = re.search(r"<h2>Entered after it had left \(3\): not part of what left</h2>\n<ul>.*?</ul>\n", again)
    assert section is not None
    assert again.replace(section[0], "") == record  # nothing else of the paper moves


def test_a_build_record_is_printed_again_byte_for_byte(left: Log) -> None:
    first = write_html(build_record(left, "J-1"))
    people.check_gauge(left, "FG-1", "check", heron(), reference=20, reading=20)
    people.add_comeback(left, "J-1", datetime(2026, 5, 1), heron(), complaint="hot")
    assert write_html(build_record(left, "J-1")) == first


def test_dispatching_it_again_does_not_move_what_left(left: Log) -> None:
    capture.correct(left, Place("J-1", "stand_off", "final", "12"), 1, "19.5", "mistyped", ASH, heron())
    jobs.say(left, "J-1", "dispatched", datetime(2026, 4, 2), heron(), "another day")
    found = as_left(left, jobs.tell(left, "J-1"))
    assert found is not None
    assert [t.row.said for t in found.story.readings if t.row.counts] == ["4", "19.5"]


def test_a_sign_off_keeps_what_the_log_showed(left: Log) -> None:
    with duckdb.connect(str(left.path), read_only=True) as raw:
        rows = raw.execute(
            "SELECT s.job, s.entry - s.shown_entry, s.shown_digest = d.digest FROM sign_off AS s"
            " JOIN entry_digest AS d ON d.entry = s.shown_entry"
        ).fetchall()
    assert rows == [("J-1", 1, True)]


def test_the_unit_under_investigation_is_no_evidence_of_its_own(workshop: Log) -> None:
    """A single odd unit that came back said of itself: 39 in 100 unit-months against 0.81."""
    unit = unit_of(workshop, "J0118")
    for point in unit.points:
        if "other such units" in point.reason:
            assert "the unit itself left out" in point.reason
    alone = [f for f in unit.watched.standing if f.jobs == ("J0118",)]
    for finding in alone:
        (point,) = [p for p in unit.points if p.about == finding.text]
        assert "none like it has been out" in point.reason


def test_what_is_entered_today_moves_no_grade(workshop: Log) -> None:
    before = unit_of(workshop, "J0108").points
    capture.take(workshop, Place("J0138", "input_float", "final"), "3", ASH, submission())
    after = unit_of(workshop, "J0108").points
    assert [(p.grade, p.reason) for p in after] == [(p.grade, p.reason) for p in before]


def test_an_interval_that_holds_one_is_not_settled_and_is_recomputed(workshop: Log) -> None:
    found = trace(workshop, "J0108")
    shop = found.shop
    out = comeback_risk.months_out(shop.jobs, shop.comebacks, shop.counted_to)
    lot = [r["job"] for r in shop.parts.iter_rows(named=True) if r["lot"] == "G-31"]
    kin = out.filter(out["case_type"].is_in(["LR-2"]))
    compared = comeback_risk.compare(kin, lot, shop.counted_to, looked=5, without=["J0108"])
    assert compared.found is not None
    assert compared.found.ratio is not None
    (others, events), (months_others, months) = compared.found.events, compared.found.exposures
    share = stats.binomtest(events, events + others).proportion_ci(0.99, "exact")  # five looked at: 1 - 0.05 / 5
    low, high = (p / (1 - p) * months_others / months for p in (share.low, share.high))
    assert compared.found.ratio.lower == pytest.approx(low, rel=1e-6)
    assert compared.found.ratio.upper == pytest.approx(high, rel=1e-6)
    assert compared.more_often == (low > 1)
    assert "allowing for 5 looked at" in compared.text


def test_a_breach_is_first_though_a_finding_covers_it(workshop: Log) -> None:
    unit = unit_of(workshop, "J0108")
    assert "BELOW 8 lbf·in (by 2.5 lbf·in)" in unit.points[0].about
    assert not any("nothing in the log explains it" in p.reason for p in unit.points)


def test_the_record_may_contradict_a_person_and_both_are_told(left: Log) -> None:
    people.add_comeback(left, "J-1", datetime(2026, 5, 1), heron(), complaint="hot", attributable="no")
    points = unit_of(left, "J-1").points
    said = next(p for p in points if p.grade == NOT_OURS)
    assert said.about.startswith("a person says")
    assert "entered by Heron on" in said.reason
    against = next(p for p in points if "the record shows otherwise" in p.about)
    assert (against.grade, against.in_sight) == (OPEN, True)
    assert "BELOW 19 thou (by 15 thou)" in against.reason


def test_those_that_came_back_are_counted_though_none_is_ours(left: Log) -> None:
    people.add_comeback(left, "J-1", datetime(2026, 5, 1), heron(), attributable="no")
    ((_, risk),) = trace(left, "J-1").risks
    assert (risk.back, risk.comebacks) == (1, 0)
    assert risk.text.startswith("1 unit of 1 came back, none of them to be counted as ours")
    assert risk.upper is not None


def test_a_log_that_was_changed_past_qclog_prints_so_on_page_one(left: Log) -> None:
    with duckdb.connect(str(left.path)) as raw:
        raw.execute("UPDATE reading SET said = '19', low = 19, high = 19 WHERE said = '4'")
    first = build_record(left, "J-1").blocks[0]
    assert "does not fit its chain of digests" in str(first)
    assert "table reading is not as it was entered" in str(first)
    assert as_left(replace(left), jobs.tell(left, "J-1")) is not None


def test_the_review_of_a_month_is_the_log_of_its_last_day(workshop: Log) -> None:
    before = monthly_review(workshop, "2025-09")
    people.add_comeback(workshop, "J0108", datetime(2025, 9, 20), heron(), complaint="found later", attributable="yes")
    jobs.say(workshop, "J0138", "concession", "long after", heron())
    after = monthly_review(workshop, "2025-09")
    assert (after.blocks[0], after.dated) == (before.blocks[0], before.dated)
    texts = [block for block in after.blocks if block not in before.blocks]
    assert any("as known now" in str(block) for block in texts)
    assert not any("long after" in str(block) for block in after.blocks)


def test_what_is_found_later_does_not_stand_in_an_earlier_review(workshop: Log) -> None:
    """Lot G-31 was first fitted in July 2025; nothing of it stood when June ended."""
    review = monthly_review(workshop, "2025-06")
    at = next(i for i, b in enumerate(review.blocks) if "What the readings point to" in str(b))
    assert not any("G-31" in str(block) for block in review.blocks[at : at + 6])


def test_a_gauge_has_a_life_of_its_own(workshop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    life = life_of(read_shop(workshop), "DT-2")
    (doubt,) = life.doubtful
    assert (doubt.readings, len(doubt.jobs), doubt.here) == (156, 22, ())
    assert "found off 2025-12-01 read 21.5 on 20 thou" in doubt.why
    bad = [(e.event, off) for e, off, good in life.events if good == "bad"]
    assert bad == [("check", 1.5)]
    assert main(["gauge", "show", "DT-2", "--log", str(workshop.path)]) == 0
    shown = capsys.readouterr().out
    assert "IN DOUBT from 2025-09-01 to 2026-01-12: 156 readings of 22 jobs" in shown
    people.set_tolerance(workshop, "DT-2", 2.0, heron())
    assert life_of(read_shop(workshop), "DT-2").doubtful[0].why.startswith("dropped 2025-09-04")  # the drop stays one


def test_the_life_of_a_gauge_is_drawn_as_it_is_told(workshop: Log) -> None:
    shop = read_shop(workshop)
    life = life_of(shop, "DT-2")
    picture = picture_of_life(life, shop)
    assert picture is not None
    assert [(f"{since:%Y-%m-%d}", f"{until:%Y-%m-%d}") for since, until, _ in picture.doubtful] == [
        ("2025-09-01", "2026-01-12")
    ]
    assert [off for _, off, check in picture.checks if check == "bad"] == [1.5]
    assert ("dropped", "2025-09-04") in [(what, f"{when:%Y-%m-%d}") for when, what in picture.befell]
    spec = draw_gauge(picture).to_dict()
    drawn = [row for rows in spec["datasets"].values() for row in rows]
    assert [row["off"] for row in drawn if row.get("check") == "bad"] == [1.5]
    assert sorted(row["off"] for row in drawn if set(row) == {"off"}) == [-life.tolerance, 0.0, life.tolerance]
    marks = [layer["mark"]["type"] for layer in spec["layer"]]
    assert marks.count("rect") == 1


def test_a_gauge_of_which_nothing_is_known_has_no_picture(workshop: Log) -> None:
    people.add_gauge(workshop, Gauge("NEW-9", "dial", "thou", 1.0), heron())
    shop = read_shop(workshop)
    assert picture_of_life(life_of(shop, "NEW-9"), shop) is None


def test_a_place_among_peers_is_that_of_what_left(left: Log) -> None:
    for number, said in enumerate(("18", "21"), start=2):
        job = f"J-{number}"
        jobs.open_job(left, Job(job, "MR-1", datetime(2026, 3, number), case_serial=f"S-{number}"), submission())
        for position in ("12", "3"):
            at = Circumstances("Ash", None, datetime(2026, 3, number, 9), ())
            capture.take(left, Place(job, "stand_off", "final", position), said, at, submission())
    before = [(p.value, p.now.text) for p in unit_of(left, "J-1").placed]
    assert before == [(11.75, "1 of 3")]
    for position in ("12", "3"):
        capture.correct(left, Place("J-1", "stand_off", "final", position), 1, "30", "mistyped", ASH, heron())
    assert [(p.value, p.now.text) for p in unit_of(left, "J-1").placed] == before


def test_a_sub_assembly_is_told_as_it_was_when_it_was_built_in(log: Log) -> None:
    jobs.open_job(log, Job("J-2", "MR-1", datetime(2026, 3, 1), case_serial="S-2"), submission())
    capture.take(log, Place("J-2", "stand_off", "final", "12"), "4", ASH, submission())
    jobs.add_part(log, Part("J-1", "layshaft", sub_assembly="J-2"), submission())
    jobs.say(log, "J-1", "dispatched", datetime(2026, 4, 1, 12), heron())
    before = [(p.about, p.reason) for p in unit_of(log, "J-1").points if "sub-assembly" in p.about]
    assert any("BELOW 19 thou" in reason for _, reason in before)
    capture.correct(log, Place("J-2", "stand_off", "final", "12"), 1, "19.5", "mistyped", ASH, heron())
    after = [(p.about, p.reason) for p in unit_of(log, "J-1").points if "sub-assembly" in p.about]
    assert after == before
