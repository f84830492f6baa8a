"""A reading from the bench to the log: kept as said, judged, corrected, struck out, stored once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from qclog.domain.jobs import Part
from qclog.domain.places import Place
from qclog.errors import InputError, ReadingError, UnitError, UnknownNameError
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping.verifying import verify
from qclog.services.series import history
from qclog.store.log import Log, Submission

ASH = Circumstances("Ash", "FG-1")
TWELVE = Place("J-1", "stand_off", "final", "12")
Submit = Callable[..., Submission]


def test_a_bracket_inside_its_band(log: Log, submit: Submit) -> None:
    """A 16-thou gasket and a 3-thou pinch want 19: 19/20 is inside a 19 to 20 thou band. Common practice, no source."""
    taken = capture.take(log, TWELVE, "19/20", ASH, submit())
    assert (taken.verdict.result, taken.attempt, taken.doubt) == ("inside", 1, None)
    assert taken.read_back == "nineteen goes, twenty does not"
    (row,) = jobs.tell(log, "J-1").readings
    assert (row.row.said, row.row.low, row.row.high, row.row.kind) == ("19/20", 19.0, 20.0, "bracket")


def test_an_unlikely_size_is_kept_as_said_and_asked_about(log: Log, submit: Submit) -> None:
    taken = capture.take(log, TWELVE, "0.41", ASH, submit())
    assert taken.doubt is not None
    assert "0.41 mm" in [s.text for s in taken.doubt.suggestions]
    assert taken.verdict.result == "low"
    (told,) = jobs.tell(log, "J-1").readings
    assert told.row.low == 0.41


def test_thou_inch_and_mm_are_one_reading(log: Log, submit: Submit) -> None:
    for text in ("16", "0.016 in", "0.4064 mm", "406.4 µm", "sixteen thou", "point oh one six inches"):
        capture.take(log, TWELVE, text, ASH, submit())
    assert {r.row.low for r in jobs.tell(log, "J-1").readings} == {16.0}


@pytest.mark.parametrize(
    ("place", "text", "how", "error"),
    [
        (TWELVE, "2.5 N·m", ASH, UnitError),
        (TWELVE, "sixteen bananas", ASH, ReadingError),
        (TWELVE, "", ASH, ReadingError),
        (TWELVE, "pass", ASH, UnitError),
        (replace(TWELVE, job="J-99"), "16", ASH, UnknownNameError),
        (replace(TWELVE, characteristic="standoff"), "16", ASH, UnknownNameError),
        (replace(TWELVE, stage="as_found"), "16", ASH, InputError),
        (replace(TWELVE, position="7"), "16", ASH, InputError),
        (replace(TWELVE, position=""), "16", ASH, InputError),
        (TWELVE, "16", Circumstances("Nobody", "FG-1"), UnknownNameError),
        (TWELVE, "16", Circumstances("Ash", "FG-9"), UnknownNameError),
        (Place("J-1", "recess", "trial"), "16", ASH, InputError),
        (Place("J-1", "leak", "final"), "16", ASH, UnitError),
        (Place("J-1", "torque", "final"), "12", ASH, InputError),
        (Place("J-1", "torque", "final"), "12", Circumstances("Ash", conditions=("oiled",)), InputError),
    ],
)
def test_what_will_not_do_is_refused_and_nothing_is_stored(
    log: Log, submit: Submit, place: Place, text: str, how: Circumstances, error: type[Exception]
) -> None:
    with pytest.raises(error) as caught:
        capture.take(log, place, text, how, submit())
    assert str(caught.value)
    assert jobs.tell(log, "J-1").readings == ()
    assert verify(log).sound


def test_a_double_enter_stores_once(log: Log, submit: Submit) -> None:
    once = submit()
    first = capture.take(log, TWELVE, "16", ASH, once)
    again = capture.take(log, TWELVE, "16", ASH, once)
    assert (again.already, again.id, again.attempt) == (True, first.id, first.attempt)
    assert len(jobs.tell(log, "J-1").readings) == 1


def test_a_correction_keeps_the_original_with_who_and_why(log: Log, submit: Submit) -> None:
    capture.take(log, TWELVE, "61", ASH, submit())
    taken = capture.correct_last(log, "J-1", "19", "mistyped", Circumstances("Heron"), submit())
    assert taken.attempt == 2
    first, second = (r.row for r in jobs.tell(log, "J-1").readings)
    assert (first.low, first.replaced, first.counts) == (61.0, True, False)
    assert (second.low, second.replaces, second.reason, second.counts) == (19.0, 1, "mistyped", True)
    assert (second.technician, second.gauge) == ("Heron", "FG-1")
    with pytest.raises(InputError, match="reason"):
        capture.correct_last(log, "J-1", "19", " ", ASH, submit())


def test_a_correction_keeps_the_gauge_and_conditions_unless_it_names_others(log: Log, submit: Submit) -> None:
    place = Place("J-1", "torque", "final")
    capture.take(log, place, "150", Circumstances("Ash", "FG-1", conditions=("oiled", "rotating")), submit())
    capture.correct(log, place, 1, "15", "mistyped", Circumstances("Heron"), submit())
    capture.correct(log, place, 2, "14", "read dry", Circumstances("Heron", conditions=("dry", "rotating")), submit())
    rows = [r.row for r in jobs.tell(log, "J-1").readings]
    assert [(r.gauge, r.conditions, r.technician) for r in rows] == [
        ("FG-1", "oiled rotating", "Ash"), ("FG-1", "oiled rotating", "Heron"), ("FG-1", "dry rotating", "Heron"),
    ]  # fmt: skip


def test_limits_are_told_beforehand_as_the_parts_are(log: Log, submit: Submit) -> None:
    def upper() -> float | None:
        story = jobs.tell(log, "J-1")
        limits = story.limits_for(next(w for w in story.wanted if w.place.characteristic == "torque"))
        return limits.upper if limits else None

    assert upper() == 17
    jobs.add_part(log, Part("J-1", "bearing", "B-7", condition="reused"), submit())
    assert upper() == 12


def test_two_people_correcting_one_reading_are_both_kept(log: Log, submit: Submit) -> None:
    capture.take(log, TWELVE, "61", ASH, submit())
    capture.correct(log, TWELVE, 1, "16", "mistyped", ASH, submit())
    capture.correct(log, TWELVE, 1, "17", "read again", Circumstances("Heron"), submit())
    rows = [r.row for r in jobs.tell(log, "J-1").readings]
    assert [(r.low, r.replaces) for r in rows] == [(61.0, None), (16.0, 1), (17.0, 1)]
    assert [r.counts for r in rows] == [False, False, True]


def test_a_strike_out_stays_and_no_longer_counts(log: Log, submit: Submit) -> None:
    capture.take(log, TWELVE, "16", ASH, submit())
    capture.strike(log, TWELVE, 1, "swarf under the cover", "Ash", submit())
    (told,) = jobs.tell(log, "J-1").readings
    assert (told.row.counts, told.row.struck_why, told.row.low) == (False, "swarf under the cover", 16.0)
    assert TWELVE in [w.place for w in jobs.tell(log, "J-1").missing]
    with pytest.raises(UnknownNameError, match="no attempt 5"):
        capture.strike(log, TWELVE, 5, "x", "Ash", submit())


def test_zero_blank_not_accessible_and_no_leaf_are_four_things(log: Log, submit: Submit) -> None:
    for position, text in zip(
        ("12", "3", "6"), ("0", "not accessible: pump in the way", "no leaf enters"), strict=True
    ):
        capture.take(log, replace(TWELVE, position=position), text, ASH, submit())
    rows = {r.row.position: r.row for r in jobs.tell(log, "J-1").readings}
    assert (rows["12"].kind, rows["12"].low) == ("point", 0.0)
    assert (rows["3"].kind, rows["3"].low, rows["3"].high) == ("none", None, None)
    assert (rows["6"].kind, rows["6"].low, rows["6"].high) == ("below", None, 2.0)
    assert [w.place.position for w in jobs.tell(log, "J-1").wanted if not w.done and w.place.stage == "final"][:1] == [
        "9"
    ]


def test_limits_follow_the_condition_of_the_parts(log: Log, submit: Submit) -> None:
    place = Place("J-1", "torque", "final")
    turning = Circumstances("Ash", conditions=("oiled", "rotating"))
    assert capture.take(log, place, "15", turning, submit()).verdict.result == "inside"
    jobs.add_part(log, Part("J-1", "bearing", "B-7", condition="reused"), submit())
    taken = capture.take(log, place, "15", turning, submit())
    assert (taken.verdict.result, taken.verdict.limit_set) == ("high", "reused")


def test_derived_values_follow_at_once(log: Log, submit: Submit) -> None:
    """Trial pack 40 and stand-off 15 give an implied recess of 25 (trade.md 3.2, derived)."""
    capture.take(log, Place("J-1", "trial_pack", "trial"), "40", Circumstances("Ash"), submit())
    assert jobs.tell(log, "J-1").derived[0].missing == ("Cover stand-off (trial)",)
    for position in ("12", "3", "6", "9"):
        capture.take(log, Place("J-1", "stand_off", "trial", position), "15", ASH, submit())
    (recess,) = jobs.tell(log, "J-1").derived
    assert recess.value == pytest.approx(25.0)


def test_no_leaf_enters_is_not_taken_for_a_slip_of_the_unit(log: Log, submit: Submit) -> None:
    taken = capture.take(log, TWELVE, "no leaf enters", ASH, submit())
    assert taken.doubt is not None
    assert (taken.doubt.suggestions, "Is it right?" in taken.doubt.question) == ((), True)


def test_a_reading_is_placed_among_its_peers() -> None:
    values = [float(v) for v in range(100)]
    assert history.place_among(values, 99.0) == "highest of 100"
    assert history.place_among(values, 1.0) == "2nd lowest of 100"
    assert history.place_among(values, 50.0) == "ordinary among 100"
    assert history.place_among(values[:4], 3.0) == ""
    assert history.place_among([5.0] * 10, 5.0) == "ordinary among 10"
