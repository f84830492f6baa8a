"""Three states of a gauge at a reading. A gauge found unfit calls into question what it measured before: ISO 9001:2015,
7.1.5.2, and ISO 10012:2003, 8.3.3 (from memory); how far back, to the last good check, is common practice, no source.
"""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.domain import stored
from qclog.measures.gauge_trust import DOUBT, RIGHT, UNKNOWN, agrees, overdue_since, trust_at
from tests import stored_rows

GAUGE = stored_rows.gauge()
READ = datetime(2026, 1, 10)


def event(day: int, what: str, reading: float | None = None) -> stored.GaugeEvent:
    reference = None if reading is None else 20.0
    return stored_rows.gauge_event(what, datetime(2026, 1, day), reference=reference, reading=reading)


GOOD, BAD = ("check", 20.5), ("check", 21.5)


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ([], UNKNOWN),
        ([event(5, *GOOD)], UNKNOWN),  # not checked since
        ([event(15, *GOOD)], UNKNOWN),  # never checked before
        ([event(5, *GOOD), event(15, *GOOD)], RIGHT),
        ([event(5, "calibrated"), event(15, *GOOD)], RIGHT),
        ([event(5, *GOOD), event(12, "calibrated"), event(15, *GOOD)], UNKNOWN),  # it may have been set right then
        ([event(5, *GOOD), event(12, "calibrated", 20.0)], UNKNOWN),  # as it left the calibration, not as it came
        ([event(5, *GOOD), event(12, "withdrawn"), event(15, *GOOD)], RIGHT),  # put away, and found right
        ([event(5, *GOOD), event(15, *BAD)], DOUBT),  # back to the last good check
        ([event(5, *BAD), event(15, *GOOD)], DOUBT),  # and on to the next
        ([event(15, *BAD)], DOUBT),
        ([event(5, *GOOD), event(7, "dropped"), event(15, *GOOD)], DOUBT),
        ([event(5, *GOOD), event(12, "dropped"), event(15, *GOOD)], DOUBT),
        ([event(5, *GOOD), event(12, "dropped"), event(13, "calibrated")], DOUBT),
        ([event(3, "dropped"), event(5, *GOOD), event(15, *GOOD)], RIGHT),  # over before
        ([event(5, *GOOD), event(15, *GOOD), event(16, *BAD)], RIGHT),  # begins after
        ([event(5, *GOOD), event(12, "calibrated"), event(15, *BAD)], UNKNOWN),  # the bad check is of the set-up since
        ([event(4, "dropped"), event(5, "withdrawn"), event(6, "returned")], UNKNOWN),
        ([event(4, "dropped"), event(6, "returned"), event(15, *GOOD)], UNKNOWN),  # back, and not checked yet
        ([event(5, "withdrawn")], DOUBT),  # read while it was out of use
        ([event(5, *GOOD), event(6, "check"), event(15, *GOOD)], RIGHT),  # a check without figures says nothing
    ],
)
def test_the_state_of_a_gauge_at_a_reading(events: list[stored.GaugeEvent], state: str) -> None:
    assert trust_at(GAUGE, events, READ).state == state


def test_a_doubt_reaches_from_good_check_to_good_check() -> None:
    events = [event(5, *GOOD), event(7, "dropped"), event(12, *BAD), event(15, *GOOD)]
    trust = trust_at(GAUGE, events, READ)
    assert (trust.since, trust.until) == (datetime(2026, 1, 5), datetime(2026, 1, 15))
    assert [e.checked_at.day for e in trust.because] == [7, 12]


def test_a_check_in_another_unit_is_converted() -> None:
    check = event(7, "check", 0.5)._replace(reference=0.508, unit="mm")  # 0.008 mm is 0.31 thou
    assert agrees(GAUGE, check)
    assert not agrees(GAUGE, event(7, "check", 0.45)._replace(reference=0.508, unit="mm"))
    assert trust_at(GAUGE, [event(7, "check", 20.0)._replace(unit="furlong-second")], READ).state == DOUBT


def test_a_gauge_may_have_a_tolerance_of_its_own() -> None:
    events = [event(5, *GOOD), event(15, "check", 21.5)]
    assert trust_at(GAUGE, events, READ).state == DOUBT
    assert trust_at(GAUGE._replace(tolerance=2.0), events, READ).state == RIGHT
    assert trust_at(GAUGE._replace(tolerance=0.1), [event(5, *GOOD), event(15, *GOOD)], READ).state == DOUBT


@pytest.mark.parametrize(
    ("due", "calibrated", "overdue"),
    [
        (None, None, False),
        (date(2026, 3, 1), None, True),
        (date(2026, 3, 10), None, False),
        (date(2026, 3, 1), datetime(2026, 3, 5, 9), False),
        (date(2026, 3, 1), datetime(2026, 3, 11, 9), True),
        (date(2026, 3, 1), datetime(2026, 2, 20, 9), True),
    ],
)
def test_when_a_calibration_is_overdue(due: date | None, calibrated: datetime | None, overdue: bool) -> None:
    events = [stored_rows.gauge_event("calibrated", calibrated)] if calibrated else []
    gauge = stored_rows.gauge(calibration_due=due)
    assert overdue_since(gauge, events, datetime(2026, 3, 10, 12)) == (due if overdue else None)
    assert (trust_at(gauge, events, datetime(2026, 3, 10, 12)).state == DOUBT) is overdue


EVENTS = st.lists(
    st.tuples(
        st.integers(1, 28),
        st.sampled_from([GOOD, BAD, ("dropped", None), ("withdrawn", None), ("returned", None), ("calibrated", None)]),
    ),
    max_size=12,
)


@given(EVENTS, st.integers(1, 28))
def test_right_is_only_said_between_two_good_checks(
    drawn: list[tuple[int, tuple[str, float | None]]], day: int
) -> None:
    """A second derivation, from the list of what happened alone."""
    events = [event(d, *what) for d, what in sorted(drawn, key=lambda e: e[0])]
    moment = datetime(2026, 1, day, 12)
    before = [e for e in events if e.checked_at <= moment]
    after = [e for e in events if e.checked_at > moment]
    left = bool(before) and (agrees(GAUGE, before[-1]) or before[-1].event == "calibrated")
    nexts = [e for e in after if e.event != "withdrawn"]
    right = bool(nexts) and nexts[0].event == "check" and agrees(GAUGE, nexts[0])
    assert (trust_at(GAUGE, events, moment).state == RIGHT) == (left and right)
