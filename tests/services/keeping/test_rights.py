"""The matrix of rights: every act against every role. The rules are the workshop's own choice, no source."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from qclog.bench.packs import Leaf, Picked, make_pack
from qclog.cli import main
from qclog.domain import stored
from qclog.domain.findings import Change
from qclog.domain.jobs import ROLES, Gauge, Job, Part, Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.rights import Act, acts_of, roles_with
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimSize
from qclog.errors import FolderError, RightsError
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture, claims, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import changes, people, rights, sheets, signing_on, stock
from qclog.services.watch import finding_life
from qclog.store.log import Log, Submission
from tests.conftest import SHEET, copied, write_folder

NAMES = {"technician": "Ash", "inspector": "Heron", "manager": "Rook", "warranty": "Teal", "stores": "Wren"}
TRIAL = Place("J-1", "trial_pack", "trial")
RETURN = Place("J-1", "trial_pack", "return")
SIZE = ShimSize("S", 5.0, 5.0, "thou")
TWO_OF_FIVE = make_pack([Picked(Leaf(5.0, 2), 0), Picked(Leaf(5.0, 2), 0)])
HANDS = {"technician", "inspector", "manager"}
INSPECTS = {"inspector", "manager"}
MAY: dict[Act, set[str]] = {  # written out again, so that a slip in the table is seen
    Act.READ: HANDS, Act.READ_RETURN: HANDS | {"warranty"}, Act.CORRECT: INSPECTS, Act.NAME_ANOTHER: {"manager"},
    Act.OPEN_JOB: HANDS, Act.DESCRIBE_JOB: HANDS, Act.FIT_PART: HANDS, Act.DISPATCH: INSPECTS, Act.CONCEDE: INSPECTS,
    Act.COMEBACK: INSPECTS | {"warranty"}, Act.CHECK_GAUGE: HANDS, Act.KEEP_GAUGES: INSPECTS,
    Act.USE_SHIMS: HANDS | {"stores"}, Act.KEEP_SHIMS: {"manager", "stores"},
    Act.NOTE_FINDING: INSPECTS | {"warranty"}, Act.RECORD_CHANGE: INSPECTS | {"warranty"},
    Act.KEEP_HOUSE: {"manager"}, Act.CHANGE_SHEETS: {"manager"}, Act.MANAGE_PEOPLE: {"manager"},
    Act.IMPORT: {"manager"},
}  # fmt: skip

Do = Callable[[Log, Submission, Path], object]


def bring_in(log: Log, s: Submission, folder: Path) -> None:
    import_folder(log, write_folder(folder / "in", people="person,role\nElm,technician\n"), s)


WAYS: dict[Act, dict[str, Do]] = {
    Act.READ: {"take": lambda log, s, _: capture.take(log, TRIAL, "41", Circumstances(s.by), s)},
    Act.READ_RETURN: {"take": lambda log, s, _: capture.take(log, RETURN, "41", Circumstances(s.by), s)},
    Act.CORRECT: {
        "correct": lambda log, s, _: capture.correct(log, TRIAL, 1, "42", "mistyped", Circumstances(s.by), s),
        "last": lambda log, s, _: capture.correct_last(log, "J-1", "42", "mistyped", Circumstances(s.by), s),
        "strike": lambda log, s, _: capture.strike(log, TRIAL, 1, "swarf", s.by, s),
    },
    Act.NAME_ANOTHER: {
        "take": lambda log, s, _: capture.take(log, TRIAL, "41", Circumstances("Birch"), s),
        "return": lambda log, s, _: capture.take(log, RETURN, "41", Circumstances("Birch"), s),
        "correct": lambda log, s, _: capture.correct(log, TRIAL, 1, "42", "mistyped", Circumstances("Birch"), s),
        "strike": lambda log, s, _: capture.strike(log, TRIAL, 1, "swarf", "Birch", s),
        "check": lambda log, s, _: people.check_gauge(log, "FG-1", "check", s, by="Birch"),
        "withdraw": lambda log, s, _: people.check_gauge(log, "FG-1", "withdrawn", s, by="Birch"),
        "shims": lambda log, s, _: stock.take_leaves(log, "S", TWO_OF_FIVE, "J-1", s, person="Birch"),
        "bring back": lambda log, s, _: stock.return_leaves(log, "S", [5.0], "J-1", s, person="Birch"),
        "buy": lambda log, s, _: stock.add_leaves(log, SIZE, 1, s, person="Birch"),
        "change": lambda log, s, _: changes.record_change(log, Change("other", now(), "Birch", "MR-1"), s),
    },
    Act.OPEN_JOB: {"open": lambda log, s, _: jobs.open_job(log, Job("J-2", "MR-1", now()), s)},
    Act.DESCRIBE_JOB: {
        "later": lambda log, s, _: jobs.say(log, "J-1", "outstanding", "paint", s),
        "customer": lambda log, s, _: jobs.say(log, "J-1", "customer_ref", "C-1", s),
    },
    Act.FIT_PART: {"part": lambda log, s, _: jobs.add_part(log, Part("J-1", "bearing", "B-1"), s)},
    Act.DISPATCH: {
        "later": lambda log, s, _: jobs.say(log, "J-1", "dispatched", now(), s),
        "taken back": lambda log, s, _: jobs.say(log, "J-1", "dispatched", None, s),
        "at opening": lambda log, s, _: jobs.open_job(log, Job("J-2", "MR-1", now(), dispatched=now()), s),
    },
    Act.CONCEDE: {
        "later": lambda log, s, _: jobs.say(log, "J-1", "concession", "1 over, agreed", s),
        "at opening": lambda log, s, _: jobs.open_job(log, Job("J-2", "MR-1", now(), concession="1 over"), s),
    },
    Act.COMEBACK: {
        "comeback": lambda log, s, _: people.add_comeback(log, "J-1", now(), s),
        "claim": lambda log, s, _: claims.amend(log, "J-1", {"finding": "worn"}, s),
    },
    Act.KEEP_HOUSE: {"rate": lambda log, s, _: claims.set_house(log, "rate", "labour_hour", "60", s)},
    Act.CHECK_GAUGE: {
        event: lambda log, s, _, event=event: people.check_gauge(log, "FG-1", event, s)  # type: ignore[misc]
        for event in ("check", "dropped")
    },
    Act.KEEP_GAUGES: {
        "add": lambda log, s, _: people.add_gauge(log, Gauge("DT-9", "dial", "thou", 0.5), s),
        **{
            event: lambda log, s, _, event=event: people.check_gauge(log, "FG-1", event, s)  # type: ignore[misc]
            for event in ("withdrawn", "returned", "calibrated")
        },
    },
    Act.USE_SHIMS: {
        "take": lambda log, s, _: stock.take_leaves(log, "S", TWO_OF_FIVE, "J-1", s, person=s.by),
        "bring back": lambda log, s, _: stock.return_leaves(log, "S", [5.0], "J-1", s),
    },
    Act.KEEP_SHIMS: {
        "buy": lambda log, s, _: stock.add_leaves(log, SIZE, 10, s),
        "count": lambda log, s, _: stock.count_leaves(log, SIZE, 3, s),
        "least": lambda log, s, _: stock.set_minimum(log, "S", 5.0, 3, s),
    },
    Act.NOTE_FINDING: {"note": lambda log, s, _: finding_life.note_finding(log, "f-1", "looked into", s.by, s)},
    Act.RECORD_CHANGE: {
        "change": lambda log, s, _: changes.record_change(log, Change("other", now(), s.by, "MR-1"), s)
    },
    Act.CHANGE_SHEETS: {
        "sheet": lambda log, s, _: sheets.add(log, read_sheet(SHEET.replace('version = "1"', 'version = "2"')), s)
    },
    Act.MANAGE_PEOPLE: {
        "add": lambda log, s, _: people.add_person(log, Person("New", "technician"), s),
        "role": lambda log, s, _: signing_on.set_role(log, "Birch", "inspector", s),
        "left": lambda log, s, _: signing_on.set_left(log, "Birch", left=True, submission=s),
        "PIN": lambda log, s, _: signing_on.set_pin(log, "Birch", "4711", s),
    },
    Act.IMPORT: {"import": bring_in},
}
CASES = [(act, way) for act, ways in WAYS.items() if act is not Act.NOTE_FINDING for way in ways]


@pytest.fixture(scope="module")
def staffed(made_once: Log, tmp_path_factory: pytest.TempPathFactory) -> Log:
    """Everybody, a reading of Birch's, shims of which Birch took two, and a return."""
    log = copied(made_once, tmp_path_factory.mktemp("staffed"))
    for name, role in (("Birch", "technician"), ("Teal", "warranty"), ("Wren", "stores"), ("Rook", "manager")):
        people.add_person(log, Person(name, role), by("Rook"))
    capture.take(log, TRIAL, "40", Circumstances("Birch"), by("Birch"))
    stock.add_leaves(log, SIZE, 10, by("Wren"))
    stock.take_leaves(log, "S", TWO_OF_FIVE, "J-1", by("Birch"))
    people.add_comeback(log, "J-1", now(), by("Rook"))
    return log


@pytest.fixture
def shop(staffed: Log, tmp_path: Path) -> Log:
    return copied(staffed, tmp_path)


def by(name: str) -> Submission:
    return Submission(name, "terminal", "test")


def entries(log: Log) -> int:
    with log.reading() as use:
        return int(use.rows("revision", stored.Revision)[0].revision)


def test_every_act_is_in_the_matrix() -> None:
    assert set(WAYS) == set(MAY) == set(Act)
    assert {act: set(roles_with(act)) for act in Act} == MAY
    assert {role: set(acts_of(role)) for role in ROLES} == {r: {a for a in Act if r in MAY[a]} for r in ROLES}
    assert set(ROLES) == set(NAMES)


@pytest.mark.parametrize(("act", "way"), CASES, ids=[f"{act.name}-{way}" for act, way in CASES])
def test_each_role_does_what_it_may_and_no_more(shop: Log, tmp_path: Path, act: Act, way: str) -> None:
    before = entries(shop)
    for role, name in NAMES.items():
        if role in MAY[act]:
            continue
        with pytest.raises((RightsError, FolderError)) as told:
            WAYS[act][way](shop, by(name), tmp_path)
        assert re.search(f"{name} is .* may not", str(told.value)), told.value
        assert entries(shop) == before, role
    for role in MAY[act]:
        mine = copied(shop, tmp_path_for(tmp_path, role))
        WAYS[act][way](mine, by(NAMES[role]), mine.path.parent)
        assert entries(mine) == before + 1, role


@pytest.mark.parametrize("role", ROLES)
def test_a_finding_is_noted_by_who_may(shop: Log, monkeypatch: pytest.MonkeyPatch, role: str) -> None:
    """Which finding it is comes first, so one is put there for the note."""
    stands_for = type("Followed", (), {"id": "f-1", "finding": None, "notes": [type("N", (), {"told": "it"})]})
    monkeypatch.setattr(finding_life, "watch", lambda _: type("Watched", (), {"followed": ()}))
    monkeypatch.setattr(finding_life, "pick", lambda *_: stands_for)
    if role in MAY[Act.NOTE_FINDING]:
        finding_life.note_finding(shop, "f-1", "looked into", NAMES[role], by(NAMES[role]))
    else:
        with pytest.raises(RightsError, match="say what became of a finding"):
            finding_life.note_finding(shop, "f-1", "looked into", NAMES[role], by(NAMES[role]))
    if role != "manager" and role in MAY[Act.NOTE_FINDING]:
        with pytest.raises(RightsError, match="in another's name"):
            finding_life.note_finding(shop, "f-1", "looked into", "Birch", by(NAMES[role]))


def test_an_act_that_nobody_knows_is_nobodys(shop: Log, log: Log) -> None:
    """Also in a log without a manager, where whatever has a name may be done by anyone."""
    for one in (shop, log):
        with one.reading() as use, pytest.raises(LookupError, match="no act"):
            rights.need(use, "Rook", "blow up the shop")  # type: ignore[arg-type]
        with one.reading() as use, pytest.raises(LookupError, match="no act"):
            rights.those_with(use, "log readings and more")  # type: ignore[arg-type]
    with pytest.raises(LookupError, match="no role"):
        acts_of("captain")


@pytest.mark.parametrize(
    "command",
    [
        ("job", "open", "J-2", "MR-1", "--concession", "all good"),
        ("job", "set", "J-1", "concession", "all good"),
        ("job", "set", "J-1", "dispatched", "2026-01-05"),
        ("gauge", "add", "DT-9", "--kind", "dial", "--unit", "thou", "--step", "0.5"),
        ("person", "role", "Ash", "manager"),
    ],
)
def test_the_terminal_is_no_side_door(shop: Log, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]) -> None:
    before = entries(shop)
    assert main([*command, "--by", "Ash", "--log", str(shop.path)]) != 0
    assert "may not" in capsys.readouterr().err
    assert entries(shop) == before


def tmp_path_for(folder: Path, name: str) -> Path:
    made = folder / name
    made.mkdir()
    return made
