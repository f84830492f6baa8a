"""PINs, the lock after wrong ones, and who may do what. The rules of roles are the workshop's own choice, no source."""

from __future__ import annotations

import os
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.domain import stored
from qclog.domain.jobs import Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.rights import Act
from qclog.errors import FolderError, InputError, RightsError, SignOnError, UnknownNameError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import launching, people, rights, signing_on
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log, Submission
from tests.conftest import copied, write_folder

PIN = "4711"
PEOPLE = {"Rook": "manager", "Wren": "stores", "Teal": "warranty", "Birch": "technician"}


def by(name: str) -> Submission:
    return Submission(name, "terminal", "test")


@pytest.fixture(scope="module")
def staffed(made_once: Log, tmp_path_factory: pytest.TempPathFactory) -> Log:
    log = copied(made_once, tmp_path_factory.mktemp("staffed"))
    for name, role in PEOPLE.items():
        people.add_person(log, Person(name, role), by("Rook"))
    return log


@pytest.fixture
def shop(staffed: Log, tmp_path: Path) -> Log:
    """Ash and Birch technicians, Heron inspector, Rook manager, Wren in the stores, Teal in warranty."""
    return copied(staffed, tmp_path)


def test_a_new_workshop_is_set_up_by_anyone_until_it_has_a_manager(log: Log) -> None:
    people.add_person(log, Person("Elm", "technician"), by("nobody in particular"))
    people.add_person(log, Person("Rook", "manager"), by("nobody in particular"))
    with pytest.raises(RightsError, match="not one of the people"):
        people.add_person(log, Person("Fir", "technician"), by("nobody in particular"))


READING = (Place("J-1", "trial_pack", "trial"), "40", Circumstances("Ash"))


def entries(log: Log) -> int:
    with log.reading() as use:
        return int(use.rows("revision", stored.Revision)[0].revision)


def test_a_technician_corrects_their_own_and_an_inspector_anyones(shop: Log) -> None:
    place = READING[0]
    capture.take(shop, *READING, by("Ash"))
    with pytest.raises(RightsError, match="correct what someone else read"):
        capture.correct(shop, place, 1, "41", "mistyped", Circumstances("Birch"), by("Birch"))
    capture.correct(shop, place, 1, "41", "mistyped", Circumstances("Ash"), by("Ash"))
    capture.correct(shop, place, 2, "42", "read again", Circumstances("Heron"), by("Heron"))
    with pytest.raises(RightsError):
        capture.strike(shop, place, 3, "swarf", "Birch", by("Birch"))
    capture.strike(shop, place, 3, "swarf", "Heron", by("Heron"))


def test_who_has_left_may_nothing_and_stays_in_what_they_did(shop: Log) -> None:
    capture.take(shop, *READING, by("Ash"))
    signing_on.set_left(shop, "Ash", left=True, submission=by("Rook"))
    with pytest.raises(RightsError, match="Ash has left"):
        capture.take(shop, *READING, by("Ash"))
    assert jobs.tell(shop, "J-1").readings[0].row.technician == "Ash"
    signing_on.set_left(shop, "Ash", left=False, submission=by("Rook"))
    capture.take(shop, *READING, by("Ash"))
    assert verify(shop).sound


def test_the_last_manager_stays(shop: Log) -> None:
    with pytest.raises(InputError, match="without a manager"):
        signing_on.set_role(shop, "Rook", "technician", by("Rook"))
    with pytest.raises(InputError, match="without a manager"):
        signing_on.set_left(shop, "Rook", left=True, submission=by("Rook"))
    signing_on.set_role(shop, "Heron", "manager", by("Rook"))
    signing_on.set_role(shop, "Rook", "technician", by("Rook"))
    assert {w.person: w.role for w in signing_on.workers(shop)}["Rook"] == "technician"


def test_a_pin_is_kept_as_a_slow_hash_only(shop: Log) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    signing_on.sign_on(shop, "Ash", PIN, by("Ash"))
    with shop.reading() as use:
        hashed = use.rows("pin_of", stored.Pin, person="Ash")[0].pin
    assert hashed is not None
    assert hashed.startswith("$argon2id$v=19$m=65536,t=3,p=4$")  # RFC 9106 section 4, second recommended option
    assert PIN not in hashed.split("$")[-1]
    assert "pin" not in people.list_people(shop)[0]._fields
    assert {w.person: w.has_pin for w in signing_on.workers(shop)} == dict.fromkeys(
        ["Ash", "Birch", "Heron", "Rook", "Teal", "Wren"], False
    ) | {"Ash": True}


@pytest.mark.parametrize("pin", ["", "123", "12a4", "1234567890123", "0000", "1234", "4321", "١٢٣٥"])
def test_a_pin_that_is_no_pin_is_refused(shop: Log, pin: str) -> None:
    with pytest.raises(InputError, match="PIN"):
        signing_on.set_pin(shop, "Ash", pin, by("Rook"))


def test_five_wrong_pins_lock_for_a_while_and_a_new_pin_unlocks(shop: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    for left in ("4 more", "3 more", "2 more", "one more", "no try"):
        with pytest.raises(SignOnError, match="not Ash's PIN") as told:
            signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
        assert left in str(told.value.hint)
    with pytest.raises(SignOnError, match="locked after 5"):
        signing_on.sign_on(shop, "Ash", PIN, by("Ash"))
    later = now() + signing_on.LOCKS[0] + timedelta(seconds=1)
    monkeypatch.setattr(signing_on, "now", lambda: later)
    with pytest.raises(SignOnError, match="4 more"):
        signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
    signing_on.sign_on(shop, "Ash", PIN, by("Ash"))
    monkeypatch.undo()
    for _ in range(5):
        with pytest.raises(SignOnError):
            signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
    signing_on.set_pin(shop, "Ash", "8520", by("Rook"))
    signing_on.sign_on(shop, "Ash", "8520", by("Ash"))


def test_the_lock_lengthens_until_the_right_pin_or_a_new_one(shop: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    moment = now()
    monkeypatch.setattr(signing_on, "now", lambda: moment)
    for minutes in (15, 60, 240, 720, 720):
        for _ in range(5):
            with pytest.raises(SignOnError, match="not Ash's PIN"):
                signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
        moment += timedelta(minutes=minutes, seconds=-1)
        with pytest.raises(SignOnError, match="locked after"):
            signing_on.sign_on(shop, "Ash", PIN, by("Ash"))
        moment += timedelta(seconds=2)
    (told,) = signing_on.wrong_pins(shop)
    assert (told.person, told.tries, told.locked_until) == ("Ash", 25, None)
    signing_on.sign_on(shop, "Ash", PIN, by("Ash"))
    for _ in range(5):
        with pytest.raises(SignOnError, match="not Ash's PIN"):
            signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
    (told,) = signing_on.wrong_pins(shop)
    assert told.locked_until == told.last + timedelta(minutes=15)  # the right one in between began anew
    assert told.tries == 30


def test_where_names_are_not_shown_nothing_tells_which_there_are(shop: Log) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    said = set()
    for name in ("Ash", "Birch", "Nobody", *["Ash"] * 6):  # one with a PIN, one without, none, one that gets locked
        with pytest.raises(SignOnError) as told:
            signing_on.sign_on_unseen(shop, name, "9999", by(name))
        said.add(str(told.value))
    assert len(said) == 1
    assert "Ash" not in said.pop()
    signing_on.set_pin(shop, "Birch", "8520", by("Rook"))
    signing_on.sign_on_unseen(shop, "Birch", "8520", by("Birch"))


def test_wrong_pins_are_listed_at_the_terminal(shop: Log, capsys: pytest.CaptureFixture[str]) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    for _ in range(5):
        with pytest.raises(SignOnError):
            signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
    assert main(["person", "list", "--log", str(shop.path)]) == 0
    told = capsys.readouterr().out
    assert re.search(r"Ash .*5 wrong PINs, the last .*, locked until", told), told
    assert told.count("wrong") == 1


def test_tries_at_once_count_as_many(shop: Log) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))

    def guess(number: int) -> str:
        try:
            signing_on.sign_on(shop, "Ash", f"{7000 + number}", by("Ash"))
        except SignOnError as error:
            return "locked" if "locked" in error.message else "wrong"
        return "in"

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(guess, range(8)))
    assert (told.count("wrong"), told.count("locked")) == (5, 3)


def test_whose_pin_it_is_may_change_it_with_the_old_one(shop: Log) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Ash"))
    with pytest.raises(SignOnError, match="not Ash's PIN"):
        signing_on.set_pin(shop, "Ash", "8520", by("Ash"), old="1111")
    with pytest.raises(RightsError):
        signing_on.set_pin(shop, "Ash", "8520", by("Heron"), old=PIN)
    signing_on.set_pin(shop, "Ash", "8520", by("Ash"), old=PIN)
    signing_on.set_pin(shop, "Ash", None, by("Rook"))
    with pytest.raises(SignOnError, match="no PIN"):
        signing_on.sign_on(shop, "Ash", "8520", by("Ash"))
    with pytest.raises(UnknownNameError):
        signing_on.set_pin(shop, "Nobody", "8520", by("Rook"))


def test_the_network_is_let_in_only_when_everyone_has_a_pin(shop: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[str] = []
    monkeypatch.setattr(os, "execv", lambda *_: started.append("started"))
    monkeypatch.setattr(os, "chdir", lambda *_: None)
    around = {k: v for k, v in os.environ.items() if k != launching.SIGN_ON_VARIABLE}
    monkeypatch.setattr(os, "environ", around)  # so that what launching sets is gone afterwards

    def open_to(address: str, *, sign_on: bool = False) -> None:
        launching.launch(shop, address=address, port=0, browser=False, sign_on=sign_on)

    with pytest.raises(InputError, match="everyone signs on with a PIN") as told:
        open_to("0.0.0.0")  # noqa: S104 - what is tested
    assert "Ash" in str(told.value.found)
    with pytest.raises(InputError, match="everyone signs on with a PIN"):
        open_to("127.0.0.1", sign_on=True)
    for worker in signing_on.workers(shop):
        if worker.person != "Birch":
            signing_on.set_pin(shop, worker.person, PIN, by("Rook"))
    signing_on.set_left(shop, "Birch", left=True, submission=by("Rook"))
    open_to("0.0.0.0")  # noqa: S104 - what is tested
    assert started == ["started"]
    assert os.environ[launching.SIGN_ON_VARIABLE] == "1"
    del os.environ[launching.SIGN_ON_VARIABLE]
    open_to("127.0.0.1")
    assert launching.SIGN_ON_VARIABLE not in os.environ
    open_to("127.0.0.1", sign_on=True)
    assert os.environ[launching.SIGN_ON_VARIABLE] == "1"


def test_has_and_need_say_the_same(shop: Log) -> None:
    with shop.reading() as use:
        assert rights.has(use, "Rook", Act.CHANGE_SHEETS)
        assert not rights.has(use, "Ash", Act.CHANGE_SHEETS)


def test_a_try_to_sign_on_is_kept_with_its_time(shop: Log) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    before = now()
    with pytest.raises(SignOnError):
        signing_on.sign_on(shop, "Ash", "9999", by("Ash"))
    with shop.reading() as use:
        (wrong,) = use.rows("pin_of", stored.Pin, person="Ash")[0].wrong
    assert isinstance(wrong, datetime)
    assert before <= wrong <= now()


def test_roles_and_leavings_go_out_and_come_in_and_pins_stay(shop: Log, tmp_path: Path) -> None:
    signing_on.set_pin(shop, "Ash", PIN, by("Rook"))
    signing_on.set_role(shop, "Ash", "inspector", by("Rook"))
    signing_on.set_left(shop, "Birch", left=True, submission=by("Rook"))
    export_folder(shop, tmp_path / "out")
    assert "argon2" not in "".join(f.read_text() for f in (tmp_path / "out").rglob("*.csv"))
    back = Log(tmp_path / "back.duckdb")
    import_folder(back, tmp_path / "out", by("new"))
    workers = {w.person: (w.role, w.has_left, w.has_pin) for w in signing_on.workers(back)}
    assert workers["Ash"] == ("inspector", False, False)
    assert workers["Birch"] == ("technician", True, False)
    assert import_folder(back, tmp_path / "out", by("new")).nothing_new
    export_folder(back, tmp_path / "again")
    first, second = ((tmp_path / f / "person_changes.csv").read_bytes() for f in ("out", "again"))
    assert first == second


def test_bad_lines_about_people_are_told(folder: Path, tmp_path: Path) -> None:
    write_folder(folder, person_changes="person,what,value\nAsh,role,boss\nNobody,left,yes\nAsh,left,no\n")
    with pytest.raises(FolderError) as told:
        import_folder(Log(tmp_path / "shop.duckdb"), folder, by("new"))
    assert [(p.line, p.column) for p in told.value.problems] == [(2, "value"), (3, "person"), (4, "value")]


def test_a_technician_brings_no_folder_in_and_an_account_may(shop: Log, tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "more", gauges="gauge,kind,unit,step\nDT-8,dial,thou,0.5\n")
    before = entries(shop)
    with pytest.raises(RightsError, match="Ash is a technician"):
        import_folder(shop, folder, by("Ash"))
    assert entries(shop) == before
    steps: list[str] = []
    import_folder(shop, folder, by("bench-pc"), tell=steps.append)
    assert steps[1:] == ["checking 0 readings", "storing", "sealing the entry"]
    assert import_folder(shop, folder, by("Ash")).nothing_new
