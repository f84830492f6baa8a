"""A finding's life: said of, closed, opened again, rejected; recorded changes; out and in with a folder."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from qclog.domain.findings import Change, Note
from qclog.domain.moments import now
from qclog.errors import FolderError, InputError, UnknownNameError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.keeping import changes
from qclog.services.keeping.verifying import verify
from qclog.services.watch import finding_life, watching
from qclog.store.findings import add_note
from qclog.store.log import Log
from qclog.watch.residuals import standardise
from tests.conftest import submission, write_folder
from tests.workshop_with_a_batch import HIGH, START, add_units

ID = "odd-machining-machining_batch-M09"
CLOSED = START + timedelta(days=70)


@pytest.fixture
def shop(tmp_path: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    add_units(log, tmp_path / "first", 0, 60)
    return log


def close_on(log: Log, moment: datetime) -> None:
    """As if it had been closed on that day."""
    with log.writing(submission()) as use:
        add_note(use, Note(ID, "closed", "Heron", moment, "bar set 6 thou deep", "bar set again"))


def state(log: Log) -> finding_life.Followed:
    return finding_life.pick(finding_life.watch(log).followed, ID)


def test_the_fault_is_found_and_nobody_has_spoken_of_it(shop: Log) -> None:
    mine = state(shop)
    assert mine.finding is not None
    assert set(mine.finding.jobs) == {f"K-{i:03}" for i in HIGH}
    assert (mine.state, mine.stands, mine.notes) == ("open", True, ())


def test_a_finding_is_looked_into_and_closed_and_everything_said_stays(shop: Log) -> None:
    finding_life.note_finding(shop, "M09", "looked into", "Ash", submission())
    assert (state(shop).state, state(shop).stands) == ("looked into", True)
    finding_life.note_finding(
        shop, ID, "closed", "Heron", submission(), found="bar set 6 thou deep", done="bar set again"
    )
    mine = state(shop)
    assert (mine.state, mine.stands, mine.returned) == ("closed", False, ())
    assert [(n.state, n.person) for n in mine.notes] == [("looked into", "Ash"), ("closed", "Heron")]
    assert mine.notes[1].told == mine.finding.text if mine.finding else False
    assert ID not in {f.id for f in finding_life.watch(shop).standing}
    assert verify(shop).sound


def test_what_must_be_said_is_asked_for(shop: Log) -> None:
    for changed, error, said in (
        ({"state": "closed", "found": "x"}, InputError, "what was done"),
        ({"state": "closed", "done": "x"}, InputError, "what was found"),
        ({"state": "rejected"}, InputError, "what was found"),
        ({"state": "shut"}, InputError, "state must be one of"),
        ({"state": "open", "found": "x" * 1001}, InputError, "1,000"),
        ({"name": "M77"}, UnknownNameError, "no finding"),
        ({"person": "Nobody"}, UnknownNameError, "Nobody"),
    ):
        values = {"name": ID, "state": "open", "person": "Ash"} | changed
        with pytest.raises(error, match=said):
            finding_life.note_finding(shop, submission=submission(), **values)
    assert state(shop).notes == ()


def test_a_closed_one_opens_again_when_new_units_show_the_same(shop: Log, tmp_path: Path) -> None:
    close_on(shop, CLOSED)
    assert not state(shop).stands
    add_units(shop, tmp_path / "more", 80, 3, batch="M09", high=6.0)
    mine = state(shop)
    assert mine.returned == ("K-080", "K-081", "K-082")
    assert (mine.state, mine.stands) == ("open", True)


def test_a_closed_one_stays_closed_when_new_units_of_the_batch_are_sound(shop: Log, tmp_path: Path) -> None:
    close_on(shop, CLOSED)
    add_units(shop, tmp_path / "more", 80, 3, batch="M09")
    assert state(shop).finding is not None
    assert (state(shop).state, state(shop).returned) == ("closed", ())


def test_one_that_opened_again_can_be_closed_again(shop: Log, tmp_path: Path) -> None:
    close_on(shop, CLOSED)
    add_units(shop, tmp_path / "more", 80, 3, batch="M09", high=6.0)
    close_on(shop, START + timedelta(days=90))
    assert (state(shop).state, state(shop).stands) == ("closed", False)


def test_a_rejected_one_is_remembered_and_teaches_nothing(shop: Log, tmp_path: Path) -> None:
    before = watching.find_all(shop)
    finding_life.note_finding(shop, ID, "rejected", "Heron", submission(), found="measured bare: sound")
    assert watching.find_all(shop) == before
    add_units(shop, tmp_path / "more", 80, 3, batch="M09", high=6.0)
    mine = state(shop)
    assert (mine.state, mine.stands, mine.notes[0].person) == ("rejected", False, "Heron")


def test_one_the_readings_no_longer_show_keeps_its_notes(shop: Log) -> None:
    with shop.writing(submission()) as use:
        add_note(use, Note("gauge-gauge-TQ-1", "looked into", "Ash", CLOSED, told="Gauge TQ-1 suggests an offset."))
    mine = finding_life.pick(finding_life.watch(shop).followed, "TQ-1")
    assert (mine.finding, mine.stands) == (None, False)
    assert finding_life.note_finding(shop, "TQ-1", "open", "Ash", submission()).told == "Gauge TQ-1 suggests an offset."


CHANGE = Change("new setup", START + timedelta(days=80), "Heron", "MR-1", "trial_pack", note="new boring bar")


def test_a_recorded_change_starts_a_new_reference_for_the_watch(shop: Log, tmp_path: Path) -> None:
    """40 units 6 thou higher than those before: far off against one reference, not against their own."""
    add_units(shop, tmp_path / "more", 80, 40, high=6.0)

    def mean_of_the_new() -> float:
        observations = watching.observe(shop)
        residuals = standardise(observations)
        new = (observations.rows["job"] >= "K-080") & (observations.rows["characteristic"] == "trial_pack")
        at = new.to_numpy()[residuals.row]
        return float(residuals.z[at].mean())

    assert mean_of_the_new() > 0.5
    changes.record_change(shop, CHANGE, submission())
    assert mean_of_the_new() == pytest.approx(0.0, abs=0.2)
    torque = watching.observe(shop).rows.filter(pl.col("characteristic") == "torque")
    assert torque["era"].unique().to_list() == [0]


def test_a_reset_gauge_starts_a_reference_where_it_took_most_of_the_readings(shop: Log, tmp_path: Path) -> None:
    add_units(shop, tmp_path / "more", 80, 10)
    reset = Change("gauge re-set", START + timedelta(days=80), "Heron", identifier="gauge", level="MC-1")
    changes.record_change(shop, reset, submission())
    rows = watching.observe(shop).rows
    eras = {c: rows.filter(pl.col("characteristic") == c)["era"].n_unique() for c in ("trial_pack", "torque")}
    assert eras == {"trial_pack": 2, "torque": 1}


def test_bad_changes_are_told(shop: Log) -> None:
    for change, error, said in (
        (replace(CHANGE, kind="new bar"), InputError, "kind must be one of"),
        (replace(CHANGE, case_type="ZZ-9"), UnknownNameError, "ZZ-9"),
        (replace(CHANGE, characteristic="bore"), UnknownNameError, "bore"),
        (replace(CHANGE, identifier="gauge", level="MC-1"), InputError, "say what changed"),
        (replace(CHANGE, case_type=None, characteristic=None), InputError, "say what changed"),
        (Change("other", now(), "Ash", identifier="gauge", level="MC-9"), UnknownNameError, "MC-9"),
        (replace(CHANGE, person="Nobody"), UnknownNameError, "Nobody"),
    ):
        with pytest.raises(error, match=said):
            changes.record_change(shop, change, submission())
    assert changes.list_changes(shop) == ()


def test_notes_and_changes_go_out_and_come_in(shop: Log, tmp_path: Path) -> None:
    finding_life.note_finding(shop, ID, "rejected", "Heron", submission(), found='swarf, "he says"')
    close_on(shop, CLOSED)
    changes.record_change(shop, CHANGE, submission())
    changes.record_change(shop, Change("gauge re-set", CLOSED, "Ash", identifier="gauge", level="MC-1"), submission())
    export_folder(shop, tmp_path / "out")
    back = Log(tmp_path / "back.duckdb")
    added = dict(import_folder(back, tmp_path / "out", submission()).added)
    assert (added["finding_notes"], added["changes"]) == (2, 2)
    assert changes.list_changes(back) == changes.list_changes(shop)
    assert state(back) == state(shop)
    assert import_folder(back, tmp_path / "out", submission()).nothing_new
    assert verify(back).sound


def test_a_log_without_notes_exports_the_files_of_the_contract_only(shop: Log, tmp_path: Path) -> None:
    export_folder(shop, tmp_path / "out")
    assert not (tmp_path / "out" / "finding_notes.csv").exists()
    assert not (tmp_path / "out" / "changes.csv").exists()


def test_every_fault_of_their_files_is_told(tmp_path: Path, folder: Path) -> None:
    write_folder(
        folder,
        finding_notes="finding,state,found,done,told,by,noted_at\n"
        "a,closed,x,,,Ash,2026-01-05\nb,rejected,,,,Ash,2026-01-05\nc,shut,,,,Ash,2026-01-05\nd,open,,,,Nobody,soon\n",
        changes="kind,case_type,characteristic,identifier,level,since,by\n"
        "other,,,,,2026-01-05,Ash\nother,ZZ-9,,,,2026-01-05,Ash\nother,MR-1,bore,,,2026-01-05,Ash\n"
        "other,,,gauge,FG-9,2026-01-05,Ash\nother,,,lot,,2026-01-05,Ash\nother,MR-1,,gauge,FG-1,2026-01-05,Ash\n",
    )
    with pytest.raises(FolderError) as told:
        import_folder(Log(tmp_path / "shop.duckdb"), folder, submission())
    found = "\n".join(str(p) for p in told.value.problems)
    for said in (
        "finding_notes.csv:2 done", "finding_notes.csv:3 found", "finding_notes.csv:4 state: 'shut'",
        "finding_notes.csv:5 by: 'Nobody'", "finding_notes.csv:5 noted_at: 'soon'", "changes.csv:2 case_type",
        "changes.csv:3 case_type: 'ZZ-9'", "changes.csv:4 characteristic: 'bore'", "changes.csv:5 level: 'FG-9'",
        "changes.csv:6 level", "changes.csv:7 case_type: 'MR-1'",
    ):  # fmt: skip
        assert said in found, found
    assert not (tmp_path / "shop.duckdb").exists()


def test_the_log_itself_refuses_a_close_without_what_was_done(shop: Log) -> None:
    with pytest.raises(duckdb.ConstraintException), shop.writing(submission()) as use:
        add_note(use, Note(ID, "closed", "Heron", CLOSED, "x"))
