"""Many hands on one log: nothing lost, nothing doubled, nobody starved, and a clear word when it is busy too long."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

import pytest

from qclog.domain import stored
from qclog.domain.places import Place
from qclog.notices import told_to
from qclog.services.exchange import import_folder as import_folder_module
from qclog.services.exchange import import_readings
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log, Submission
from tests.conftest import submission
from tests.durability.hands import qclog, work_together


def test_six_sessions_two_terminals_and_an_import(log: Log, tmp_path: Path) -> None:
    hands = work_together(log, tmp_path, each=4, at_terminals=2, imported=2_000)
    assert len(hands.keys) == 24


@pytest.mark.long
def test_many_hands_for_longer(log: Log, tmp_path: Path) -> None:
    hands = work_together(log, tmp_path, each=60, at_terminals=12, imported=200_000)
    print(f"\n{hands}")
    assert len(hands.keys) == 360
    assert max(hands.waits) < log.patience


def test_threads_take_turns_in_the_order_they_came(log: Log) -> None:
    served: list[int] = []

    def use(number: int) -> None:
        with log.reading():
            served.append(number)

    waiting = [threading.Thread(target=use, args=(i,)) for i in range(6)]
    with log.reading():
        for one in waiting:
            one.start()
            time.sleep(0.05)
    for one in waiting:
        one.join()
    assert served == list(range(6))


def test_a_terminal_gets_in_between_the_uses_of_a_busy_page(log: Log) -> None:
    stop = threading.Event()

    def keep_using() -> None:
        while not stop.is_set():
            with log.reading() as use:
                use.rows("people", stored.Person)

    page = [threading.Thread(target=keep_using) for _ in range(6)]
    for one in page:
        one.start()
    try:
        assert [qclog("job", "list", log=log).returncode for _ in range(3)] == [0, 0, 0]
    finally:
        stop.set()
        for one in page:
            one.join()


PLACE = Place("J-1", "stand_off", "trial", "12")


def test_two_people_correct_the_same_reading(log: Log) -> None:
    """Both corrections are kept and both are shown; the one that came last counts."""
    capture.take(log, PLACE, "61", Circumstances("Ash", "FG-1"), submission("reading"))
    meet = threading.Barrier(2)

    def correct(who: str, value: str) -> None:
        meet.wait()
        capture.correct(log, PLACE, 1, value, f"as {who} saw it", Circumstances(who), submission("correction", who))

    both = [threading.Thread(target=correct, args=pair) for pair in (("Ash", "16"), ("Heron", "17"))]
    for one in both:
        one.start()
    for one in both:
        one.join()
    rows = [r.row for r in jobs.tell(log, "J-1").readings]
    assert [(r.attempt, r.replaces, r.counts) for r in rows] == [(1, None, False), (2, 1, False), (3, 1, True)]
    assert {(r.technician, r.said) for r in rows[1:]} == {("Ash", "16"), ("Heron", "17")}
    assert verify(log).sound
    shown = qclog("job", "show", "J-1", log=log).stdout
    for said in ("as Ash saw it", "as Heron saw it", "61", "16", "17"):
        assert said in shown, shown
    assert "attempt 1 was corrected twice" in shown, shown


def test_a_log_that_is_busy_too_long_says_so(log: Log) -> None:
    with log.reading():
        done: list[str] = []

        def ask() -> None:
            try:
                capture.take(
                    Log(log.path, patience=0.2), PLACE, "16", Circumstances("Ash", "FG-1"), submission("reading")
                )
            except OSError as error:
                done.append(str(error))

        waiting = threading.Thread(target=ask)
        waiting.start()
        waiting.join()
    (said,) = done
    assert "in use by another program for 0.2 s" in said
    assert "wait for the import or report" in said
    assert jobs.tell(log, "J-1").readings == ()


def test_who_waits_is_told_for_whom_and_is_not_sent_away(log: Log) -> None:
    """A long import that says what it is: a terminal with less patience than it takes waits on, and says so."""
    started, done = threading.Event(), threading.Event()
    told: list[str] = []

    def bring_in() -> None:
        with log.writing(Submission("Rook", "import", "import of 50,000 readings")):
            started.set()
            done.wait(60)

    def tell(sentence: str) -> None:
        told.append(sentence)
        done.set()

    importing = threading.Thread(target=bring_in)
    importing.start()
    started.wait(60)
    with told_to(tell):
        taken = capture.take(
            Log(log.path, patience=2), PLACE, "16", Circumstances("Ash", "FG-1"), submission("reading")
        )
    importing.join()
    assert taken.attempt == 1
    assert len(told) == 1
    assert "waiting for the log: import of 50,000 readings (Rook, import), since " in told[0]
    assert not list(log.path.parent.glob("*.lock.for"))


def test_an_import_leaves_the_log_free_while_it_checks(log: Log, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes between the checks and the storing is checked again, not lost and not doubled."""
    came: list[int] = []
    check = import_readings.check_readings

    def check_and_be_interrupted(*arguments: Any) -> Any:
        if not came:
            taken = capture.take(log, PLACE, "16", Circumstances("Ash", "FG-1"), submission("between"))
            came.append(taken.attempt)
        return check(*arguments)

    monkeypatch.setattr(import_folder_module, "check_readings", check_and_be_interrupted)
    steps: list[str] = []
    for name in ("people", "gauges", "jobs"):
        (folder / f"{name}.csv").write_text(
            {
                "people": "person,role\nBirch,technician\n",
                "gauges": "gauge,kind,unit,step\nTQ-1,torque,lbf·in,0.5\n",
                "jobs": "job,case_type,opened\nJ-2,MR-1,2026-01-06\nJ-3,MR-1,2026-02-06\n",
            }[name]
        )
    for name in ("gauge_checks", "parts", "comebacks"):
        (folder / f"{name}.csv").unlink()
    (folder / "readings.csv").write_text(
        "job,characteristic,stage,position,attempt,reading,gauge,technician,taken_at\n"
        "J-1,stand_off,trial,3,1,17,FG-1,Ash,2026-01-05T10:00\n"
    )
    import_folder_module.import_folder(log, folder, submission("import"), tell=steps.append)
    assert came == [1]
    assert steps.count("checking 1 readings") == 2
    assert verify(log).sound
    assert len(jobs.tell(log, "J-1").readings) == 2


def test_an_import_that_others_always_come_between_gets_its_turn(
    log: Log, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After three times it holds the log for its checks too, and is the entry that it was checked for."""
    check = import_readings.check_readings
    checked: list[int] = []

    def check_and_be_overtaken(seen: Any, *rest: Any) -> Any:
        if len(checked) < import_folder_module._TRIES_BESIDE_OTHERS:
            read_once(log, len(checked))
        checked.append(seen.next_entry)
        return check(seen, *rest)

    def read_once(log: Log, number: int) -> None:
        capture.take(log, PLACE, str(15 + number), Circumstances("Ash", "FG-1"), submission("between"))

    monkeypatch.setattr(import_folder_module, "check_readings", check_and_be_overtaken)
    for name in ("people", "gauges", "gauge_checks", "jobs", "parts", "comebacks"):
        (folder / f"{name}.csv").unlink()
    (folder / "readings.csv").write_text(
        "job,characteristic,stage,position,attempt,reading,gauge,technician,taken_at\n"
        "J-1,stand_off,trial,3,1,17,FG-1,Ash,2026-01-05T10:00\n"
    )
    import_folder_module.import_folder(log, folder, submission("import"))
    assert checked == [6, 7, 8, 9]
    assert verify(log).sound
    assert len(jobs.tell(log, "J-1").readings) == 4
