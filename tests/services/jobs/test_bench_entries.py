"""Entries of the reading field: each for the place, moment and conditions it was typed under, and once."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.errors import InputError, ReadingError, ReadMeanwhileError
from qclog.services.jobs import jobs
from qclog.services.jobs.bench_entries import Entry, take_entry
from qclog.store.ids import new_id
from qclog.store.log import Log

HERE = Place("J-1", "stand_off", "trial", "12")
THERE = Place("J-1", "stand_off", "trial", "3")
TORQUE = Place("J-1", "torque", "final")


def typed(text: str, place: Place = HERE, **more: object) -> Entry:
    return replace(Entry(new_id(), text, place, "Ash"), **more)  # type: ignore[arg-type]


def said(log: Log) -> list[tuple[str, str]]:
    return [(r.row.said, r.row.position) for r in jobs.tell(log, "J-1").readings]


def test_an_entry_that_comes_twice_is_stored_once_and_answered_alike(log: Log) -> None:
    entry = typed("15/16")
    first, second = take_entry(log, entry), take_entry(log, entry)
    assert (first.taken.id, first.taken.already) == (second.taken.id, False)
    assert second.taken.already
    assert said(log) == [("15/16", "12")]


def test_an_entry_that_comes_again_for_another_place_stays_where_it_was(log: Log) -> None:
    """After a scan the server chose the place; sent again after a reload it would choose the next."""
    entry = typed("15/16")
    take_entry(log, entry)
    assert take_entry(log, replace(entry, place=THERE)).taken.place == HERE
    assert said(log) == [("15/16", "12")]


def test_the_moment_is_that_of_typing_and_never_ahead_of_the_log(log: Log) -> None:
    early = now() - timedelta(minutes=3)
    take_entry(log, typed("15", typed_at=early))
    take_entry(log, typed("16", THERE, typed_at=now() + timedelta(hours=2)))
    first, second = (r.row.taken_at for r in jobs.tell(log, "J-1").readings)
    assert first == early
    assert early < second <= now()


def test_what_was_read_meanwhile_is_told_and_can_be_stored_knowing_it(log: Log) -> None:
    take_entry(log, typed("20/21", seen=0))
    with pytest.raises(ReadMeanwhileError, match="Ash just read 20/21 here") as told:
        take_entry(log, typed("24", seen=0))
    assert said(log) == [("20/21", "12")]
    take_entry(log, typed("24", seen=told.value.attempts))
    assert said(log) == [("20/21", "12"), ("24", "12")]


def test_what_was_stored_comes_back_as_stored_though_it_was_read_again_meanwhile(log: Log) -> None:
    entry = typed("20/21", seen=0)
    take_entry(log, entry)
    take_entry(log, typed("22", seen=1))
    assert take_entry(log, entry).taken.already


def test_conditions_said_after_the_reading_go_before_those_that_were_shown(log: Log) -> None:
    kept = take_entry(log, typed("12 dry", TORQUE, conditions=("oiled", "rotating")))
    assert set(kept.conditions) == {"dry", "rotating"}
    with pytest.raises(InputError, match="oiled or dry"):
        take_entry(log, typed("12", TORQUE, conditions=("rotating",)))


def test_a_correction_is_of_the_entry_before_it(log: Log) -> None:
    first = typed("77")
    take_entry(log, first)
    take_entry(log, typed("30", THERE))
    fixed = typed("correct 17", Place("J-1", "", ""), before=first.id)
    assert take_entry(log, fixed).taken.place == HERE
    assert take_entry(log, fixed).taken.already
    take_entry(log, typed("correct 18", Place("J-1", "", ""), before=fixed.id))
    assert said(log) == [("77", "12"), ("30", "3"), ("17", "12"), ("18", "12")]


def test_a_correction_of_what_was_never_stored_corrects_nothing(log: Log) -> None:
    take_entry(log, typed("15"))
    refused = typed("fifteenish", THERE)
    with pytest.raises(ReadingError):
        take_entry(log, refused)
    with pytest.raises(InputError, match="not stored, so there is nothing to correct"):
        take_entry(log, typed("correct 16", Place("J-1", "", ""), before=refused.id))
    assert said(log) == [("15", "12")]
    take_entry(log, typed("correct 16", Place("J-1", "", "")))  # without one before: the job's last reading
    assert said(log) == [("15", "12"), ("16", "12")]
