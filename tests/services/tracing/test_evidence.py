"""How hard the grades are to earn: each condition of `cause` taken away by itself.

The sample workshop's gasket lot G-31 is the trouble; comebacks are added to it until an interval settles that they are.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from qclog import resources
from qclog.domain.findings import Finding
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping import people
from qclog.services.tracing import evidence
from qclog.services.tracing.evidence import CAUSE, CONTRIBUTING, OPEN, Point
from qclog.services.tracing.shop import read_shop
from qclog.services.tracing.tracing import UnitTrace, trace
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import submission

MORE = ("J0110", "J0114", "J0115", "J0120", "J0124", "J0126")


@pytest.fixture(scope="module")
def unit(tmp_path_factory: pytest.TempPathFactory) -> UnitTrace:
    """J0108 after six more of its lot have come back."""
    log = Log(tmp_path_factory.mktemp("evidence") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission(), timezone="Europe/London")
    for job in MORE:
        people.add_comeback(log, job, datetime(2026, 3, 1), submission(by="Heron"), complaint="hot", attributable="yes")
    found = trace(log, "J0108", watched=finding_life.watch(log))
    assert found.unit is not None
    return found.unit


def the_lot(unit: UnitTrace) -> Finding:
    return next(f for f in unit.watched.standing if f.level == "G-31")


def weigh(unit: UnitTrace, finding: Finding, *, attributable: str | None = "yes") -> Point:
    """The point about the lot, had the comeback been recorded so."""
    backs = tuple(back._replace(attributable=attributable) for back in unit.story.comebacks)
    story = replace(unit.story, comebacks=backs)
    points = evidence.weigh(unit.shop, story, unit.built, [finding], unit.gauges, unit.changes, unit.going)
    return next(p for p in points if p.about == finding.text)


def test_a_cause_needs_all_four(unit: UnitTrace) -> None:
    point = weigh(unit, the_lot(unit))
    assert point.grade == CAUSE
    for word in ("more often", "BELOW 8 lbf·in", "recorded as ours"):
        assert word in point.reason


@pytest.mark.parametrize(("attributable", "says"), [("no", "not ours"), ("open", "nobody has said"), (None, "nobody")])
def test_without_a_person_who_said_so_it_is_open(unit: UnitTrace, attributable: str | None, says: str) -> None:
    point = weigh(unit, the_lot(unit), attributable=attributable)
    assert point.grade == OPEN
    assert says in point.reason


def test_a_finding_that_could_be_something_else_is_no_cause(unit: UnitTrace) -> None:
    doubtful = replace(the_lot(unit), confounded_with=(("machining_batch", "M08"),))
    point = weigh(unit, doubtful)
    assert point.grade == CONTRIBUTING
    assert "machining batch M08" in point.reason


def test_a_unit_that_left_inside_limits_has_no_cause(unit: UnitTrace) -> None:
    elsewhere = replace(the_lot(unit), characteristics=("input_float",))
    assert weigh(unit, elsewhere).grade == CONTRIBUTING


def test_an_interval_that_settles_nothing_makes_no_cause(sample: Log) -> None:
    found = trace(sample, "J0108")
    assert found.unit is not None
    point = weigh(found.unit, the_lot(found.unit))
    assert point.grade == CONTRIBUTING
    assert ": not settled" in point.reason


def test_a_habit_of_reading_explains_no_comeback(unit: UnitTrace) -> None:
    habit = next(f for f in unit.watched.standing if f.cause == "technician")
    assert weigh(unit, habit).grade == OPEN


def test_a_unit_that_is_still_here_has_no_cause(log: Log) -> None:
    shop = read_shop(log)
    assert shop.where_now("J-1") == "in the shop"
    found = trace(log, "J-1")
    assert found.unit is not None
    assert {p.grade for p in found.unit.points} == {OPEN}
