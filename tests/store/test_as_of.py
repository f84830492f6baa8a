"""The log as it stood at an entry: what was said later is not there, whatever is asked, and the file is not changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from qclog import resources
from qclog.cli import main
from qclog.domain import stored
from qclog.domain.places import Place
from qclog.errors import InputError
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import earlier, people
from qclog.store.as_of import AsOf
from qclog.store.log import Log
from tests.conftest import submission

PLACE = Place("J-1", "stand_off", "final", "12")


def head(log: Log) -> int:
    with log.reading() as use:
        return use.rows("revision", stored.Revision)[0].revision


def test_what_came_later_is_not_there(log: Log) -> None:
    capture.take(log, PLACE, "40", Circumstances("Ash", None, None, ()), submission())
    then = head(log)
    before = jobs.tell(log, "J-1")
    capture.correct(log, PLACE, 1, "12", "mistyped", Circumstances("Ash", None, None, ()), submission())
    jobs.say(log, "J-1", "concession", "as agreed", submission(by="Heron"))
    people.add_comeback(log, "J-1", datetime(2026, 5, 1), submission(by="Heron"), complaint="hot")
    assert jobs.tell(replace(log, as_of=AsOf(then)), "J-1") == before
    assert jobs.tell(log, "J-1") != before
    assert head(replace(log, as_of=AsOf(then))) == then


def test_both_are_seen_in_one_opening(log: Log) -> None:
    then = head(log)
    jobs.say(log, "J-1", "concession", "as agreed", submission(by="Heron"))
    old = replace(log, as_of=AsOf(then))
    with log.kept_open():
        seen = [jobs.tell(which, "J-1").job.concession for which in (log, old, log)]
    with log.reading():
        seen += [jobs.tell(which, "J-1").job.concession for which in (log, old, log)]
    with old.reading():
        seen += [jobs.tell(which, "J-1").job.concession for which in (old, log)]
    assert seen == ["as agreed", None, "as agreed"] * 2 + [None, "as agreed"]


def test_the_log_as_it_stood_cannot_be_added_to(log: Log) -> None:
    with pytest.raises(InputError, match="can't be added to"):
        jobs.say(replace(log, as_of=AsOf(1)), "J-1", "concession", "later", submission(by="Heron"))


@pytest.mark.parametrize("query", sorted(p.stem for p in (resources.folder("sql") / "queries").glob("*.sql")))
def test_every_query_answers_as_of_the_head_as_it_does_now(query: str, log: Log) -> None:
    """No query goes past the views, and none of them is in the way of one."""
    if query not in stored.KINDS:
        return
    given = dict.fromkeys(("job", "case_type", "text"), "J-1")
    text = resources.sql_text(f"queries/{query}.sql")
    asked = {name: given.get(name) for name in ("job", "case_type", "text") if f"${name}" in text}
    if "$" in text.replace("$job", "").replace("$case_type", "").replace("$text", ""):
        return
    with log.reading() as use:
        now = use.rows(query, stored.KINDS[query], **asked)
    with replace(log, as_of=AsOf(head(log))).reading() as use:
        assert use.rows(query, stored.KINDS[query], **asked) == now


def test_a_history_that_was_imported_is_seen_by_its_own_times(sample: Log) -> None:
    day = datetime(2025, 9, 1)
    old = earlier.as_of(sample, "2025-08-31")
    assert "of what was imported (entry 1 of" in earlier.as_of_words(old)
    with sample.reading() as use:
        readings = use.frame("readings_for_watch")
        everyone = use.rows("jobs_all", stored.Job)
    with old.reading() as use:
        then = use.frame("readings_for_watch")
        known = {j.job: j for j in use.rows("jobs_all", stored.Job)}
    assert known.keys() == {j.job for j in everyone if j.opened < day}
    assert all(j.dispatched is None or j.dispatched < day for j in known.values())
    assert all(moment < day for moment in then["taken_at"])
    assert 0 < len(then) <= len(readings.filter(readings["taken_at"] < day)) + 60  # corrected since, and still standing


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("0", "it has entries 1 to"),
        ("77", "it has entries 1 to"),
        ("yesterday", "no entry and no time"),
        ("2026-02-30", "no entry and no time"),
        ("1999-01-01", "nothing so early"),
    ],
)
def test_what_is_no_entry_and_no_day_is_refused(log: Log, asked: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        earlier.as_of(log, asked)
    assert says in str(refused.value)


def test_a_command_says_as_of_when(
    log: Log, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    then = head(log)
    jobs.say(log, "J-1", "concession", "as agreed", submission(by="Heron"))
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    assert main(["job", "show", "J-1", "--as-of", str(then)]) == 0
    shown = capsys.readouterr()
    assert f"As of entry {then}" in shown.err
    assert "as agreed" not in shown.out
    assert main(["job", "show", "J-1"]) == 0
    assert "as agreed" in capsys.readouterr().out


def test_an_earlier_look_leaves_the_file_alone(sample: Log) -> None:
    before = sample.path.read_bytes()
    jobs.tell(earlier.as_of(sample, "2025-08-31"), "J0118")
    assert sample.path.read_bytes() == before
