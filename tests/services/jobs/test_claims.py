"""A return is opened, completed and amended as the same return; who said what when stays; costs by the house rates."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.domain.jobs import Job
from qclog.errors import InputError, UnknownNameError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import claims, jobs
from qclog.services.keeping import people
from qclog.services.overview import month
from qclog.services.tracing.shop import read_shop
from qclog.store.log import Log
from tests.conftest import submission

BACK = datetime(2026, 5, 1, 10)


@pytest.fixture
def returned(log: Log) -> Log:
    people.add_comeback(log, "J-1", BACK, submission(), complaint="hot at the output")
    claims.set_house(log, "failure_code", "BR", "bearing ring turned", submission())
    claims.set_house(log, "rate", "labour_hour", "60", submission())
    claims.set_house(log, "rate", "currency", "EUR", submission())
    return log


def test_a_finding_added_later_is_of_the_same_return(returned: Log) -> None:
    claims.amend(returned, "J-1", {"received": "2026-05-02", "hours": "120", "hours_from": "hour meter"}, submission())
    said = {"finding": "outer ring turned", "failure_code": "BR", "attributable": "yes", "decided": "2026-05-09"}
    claims.amend(returned, "J-1", said, submission(by="Heron"))
    (back,) = jobs.tell(returned, "J-1").comebacks
    assert (back.returned, back.complaint, back.finding, back.attributable, back.hours) == (
        BACK, "hot at the output", "outer ring turned", "yes", 120.0,
    )  # fmt: skip
    assert back.entered_by == "Heron"  # who decided
    assert read_shop(returned).comebacks["attributable"].to_list() == ["yes"]
    (claim,) = claims.claims_of(returned, "J-1")
    assert [(s.name, s.by) for s in claim.said] == [
        ("received", "Ash"), ("finding", "Heron"), ("failure_code", "Heron"), ("attributable", "Heron"),
        ("decided", "Heron"), ("hours", "Ash"), ("hours_from", "Ash"),
    ]  # fmt: skip


def test_what_it_cost_is_by_the_houses_rate(returned: Log) -> None:
    claims.amend(returned, "J-1", {"labour_hours": "2.5", "parts_cost": "31.40", "carriage_cost": "18"}, submission())
    (claim,) = claims.claims_of(returned, "J-1")
    assert claim.cost == pytest.approx(2.5 * 60 + 31.40 + 18)
    assert claim.lines()[-1] == "cost so far: 199.40 EUR"
    claims.set_house(returned, "rate", "labour_hour", "", submission())
    assert claims.claims_of(returned, "J-1")[0].cost is None  # labour has no rate, so no sum is made up


def test_it_can_be_taken_back_and_nothing_is_lost(returned: Log) -> None:
    claims.amend(returned, "J-1", {"attributable": "no"}, submission())
    claims.amend(returned, "J-1", {"attributable": ""}, submission())
    assert jobs.tell(returned, "J-1").comebacks[0].attributable is None
    with returned.reading() as use:
        assert use.connection.execute("SELECT count(*) FROM comeback_detail").fetchall() == [(2,)]


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"failure_code": "ZZ"}, "failure_code"),
        ({"hours": "many"}, "hours"),
        ({"hours": "-1"}, "hours"),
        ({"hours": "inf"}, "hours"),
        ({"decided": "soon"}, None),
        ({"attributable": "perhaps"}, "attributable"),
        ({"hours_from": "a guess"}, "hours_from"),
        ({"colour": "red"}, "colour"),
        ({}, "claim"),
    ],
)
def test_what_will_not_do_is_named_and_nothing_is_kept(returned: Log, said: dict[str, str], field: str | None) -> None:
    with pytest.raises(InputError) as refused:
        claims.amend(returned, "J-1", {"finding": "worn"} | said if said else {}, submission())
    assert field is None or refused.value.field == field
    assert jobs.tell(returned, "J-1").comebacks[0].finding is None


def test_a_return_that_is_not_there_is_no_return(returned: Log) -> None:
    with pytest.raises(UnknownNameError, match="no such return"):
        claims.amend(returned, "J-1", {"finding": "worn"}, submission(), datetime(2026, 1, 1))


def test_it_goes_out_and_in_again(returned: Log, tmp_path: Path) -> None:
    claims.amend(returned, "J-1", {"finding": "=worn", "labour_hours": "2"}, submission())
    export_folder(returned, tmp_path / "out")
    again = Log(tmp_path / "again.duckdb")
    import_folder(again, tmp_path / "out", submission())
    assert claims.claims_of(again, "J-1")[0].cost == 120
    assert jobs.tell(again, "J-1").comebacks[0].finding == "=worn"
    assert import_folder(returned, tmp_path / "out", submission()).nothing_new


def test_the_terminal_says_and_tells(
    returned: Log, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QCLOG_LOG", str(returned.path))
    monkeypatch.setenv("QCLOG_PERSON", "Heron")
    assert main(["job", "claim", "J-1", "--finding", "ring turned", "--failure-code", "BR", "--labour-hours", "1"]) == 0
    assert "return of 2026-05-01: found, code of the failure, labour, hours kept" in capsys.readouterr().out
    assert main(["job", "claim", "J-1"]) == 0
    told = capsys.readouterr().out
    assert "found: ring turned (Heron, " in told
    assert "cost so far: 60.00 EUR" in told
    assert main(["house", "list"]) == 0
    assert "bearing ring turned" in capsys.readouterr().out


def test_returns_are_added_up_and_what_is_left_out_is_said(returned: Log, capsys: pytest.CaptureFixture[str]) -> None:
    jobs.open_job(returned, Job("J-2", "MR-1", BACK), submission())
    for day in (2, 20):
        people.add_comeback(returned, "J-2", datetime(2026, 6, day, 10), submission(), complaint="oil")
    said = {
        "labour_hours": "2.5",
        "parts_cost": "31.40",
        "failure_code": "BR",
        "attributable": "yes",
        "closed": "2026-05-20",
    }
    claims.amend(returned, "J-1", said, submission())
    claims.amend(returned, "J-2", {"carriage_cost": "18", "attributable": "no"}, submission(), datetime(2026, 6, 2, 10))
    every = claims.all_claims(returned)
    added = claims.total(every)
    assert (added.returns, added.ours, added.not_ours, added.closed) == (3, 1, 1, 1)
    assert (added.labour_hours, added.parts_cost, added.carriage_cost) == (2.5, 31.40, 18)
    assert added.cost == pytest.approx(2.5 * 60 + 31.40 + 18)
    assert added.cost_text == "199.40 EUR, without 1 of which no cost was said"
    groups = claims.by_failure(every, claims.house(returned))
    assert [(name, t.returns) for name, t in groups] == [("BR bearing ring turned", 1), ("no code yet", 2)]
    assert month.look_at(returned, "2026-05").returns.cost_text == "181.40 EUR"
    assert month.look_at(returned, "2026-06").returns.cost_text == "18.00 EUR, without 1 of which no cost was said"
    main(["house", "returns", "--since", "2026-06-01", "--log", str(returned.path)])
    told = capsys.readouterr().out
    assert "2 returns: 0 ours, 1 not ours" in told
    assert "J-1" not in told
    assert "cost: 18.00 EUR, without 1 of which no cost was said; carriage 18.00\n" in told  # no word of labour
    assert month.look_at(returned, "2026-06").returns.labour_text == "not said yet"
    claims.set_house(returned, "rate", "labour_hour", "", submission())
    without = claims.total(claims.all_claims(returned))
    assert without.cost_text == "18.00 EUR, without 1 without a rate for labour, 1 of which no cost was said"


def test_a_day_that_is_none_is_refused(returned: Log, capsys: pytest.CaptureFixture[str]) -> None:
    for text in ("May", ""):
        assert main(["house", "returns", "--since", text, "--log", str(returned.path)]) != 0
        assert "this is no day" in capsys.readouterr().err


def test_the_day_of_a_return_is_the_workshops(returned: Log) -> None:
    people.add_comeback(returned, "J-1", datetime(2026, 6, 30, 23, 30), submission())  # half past midnight in London
    every = claims.all_claims(returned)
    assert [c.day for c in every] == [date(2026, 5, 1), date(2026, 7, 1)]
    assert claims.between(every, date(2026, 7, 1)) == every[1:]
    assert claims.between(every, None, date(2026, 6, 30)) == every[:1]
    assert month.look_at(returned, "2026-07").returns.returns == 1
