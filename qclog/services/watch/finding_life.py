"""Living with findings: which stand, what people said of each, and which closed ones have come back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from qclog.domain import stored
from qclog.domain.findings import STATES, Finding, Note
from qclog.domain.moments import now
from qclog.domain.rights import Act
from qclog.errors import InputError, UnknownNameError
from qclog.services.jobs import claims
from qclog.services.keeping import rights
from qclog.services.keeping.people import choose
from qclog.services.watch import finding_memory, findings_kept
from qclog.services.watch.findings_kept import Kept
from qclog.store import records
from qclog.store.findings import add_note, notes_in
from qclog.store.log import Log, Submission, Use

if TYPE_CHECKING:
    from qclog.watch.observations import Observations

_Dating = Callable[[Sequence[Finding], "Observations", float], tuple[Finding, ...]]
SETTLED = ("explained", "closed", "rejected")


@dataclass(frozen=True, slots=True)
class Followed:
    """A finding with what people said of it, the oldest first.

    `finding` is None when the readings no longer show it. `returned` has the jobs affected after it was closed, when
    those show the same trouble again by themselves.
    """

    id: str
    finding: Finding | None
    notes: tuple[Note, ...]
    returned: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """What was last said; `open` where nothing was, or where a closed one has come back."""
        return self.notes[-1].state if self.notes and not self.returned else "open"

    @property
    def stands(self) -> bool:
        """Whether it asks for something to be done."""
        return self.open and self.finding is not None and self.finding.stands

    @property
    def open(self) -> bool:
        """Whether the readings show it and nobody has settled it."""
        return self.finding is not None and self.state not in SETTLED


@dataclass(frozen=True, slots=True)
class Watched:
    """The log as the watch sees it, and every finding, strongest first; ones no longer seen come last."""

    look: Callable[[], Observations]
    looked_at: int  # values
    followed: tuple[Followed, ...]

    @property
    def observations(self) -> Observations:
        """What the watch looked at; looked up again where the findings were kept from before."""
        return self.look()

    @property
    def standing(self) -> tuple[Finding, ...]:
        """The findings that stand."""
        return tuple(f.finding for f in self.followed if f.finding is not None and f.stands)

    @property
    def settled(self) -> tuple[Followed, ...]:
        """Those that were explained, closed or rejected and have not come back, and those no longer seen."""
        return tuple(f for f in self.followed if not f.open)

    @property
    def worth_a_look(self) -> tuple[Followed, ...]:
        """Those too weak to stand within the house's budget of false ones."""
        return tuple(f for f in self.followed if f.open and not f.stands)


def watch(log: Log) -> Watched:
    """Look through the log, and at what was said of what is found; worked out only where the log has changed."""
    return read_watch(log)()


def read_watch(log: Log) -> Callable[[], Watched]:
    """Read now what a watch needs; what comes back does the work, and needs the log no more."""
    with log.reading() as use:
        notes = notes_in(use)
        key = findings_kept.key_of(log, use)
        kept = findings_kept.load(log, key)
        if kept is not None:
            followed = _with_notes(kept.findings, notes, kept.returned)
            watched = Watched(cache(lambda: _observe(log)), kept.looked_at, followed)
            return lambda: watched
        memory = finding_memory.load(log, use)
        look = _read(log, use, notes, key)

    def work_out() -> Watched:
        return look(lambda found, observations, _: finding_memory.dated(found, memory, observations))

    return work_out


def replay(log: Log, tell: Callable[[int], None] = lambda _looked: None) -> Watched:
    """Look through the log as it grew: each finding dated by the first reading at which it was raised and stayed."""
    from qclog.watch.replay import replay as replayed

    def dated(found: Sequence[Finding], observations: Observations, budget: float) -> tuple[Finding, ...]:
        raised = replayed(observations, found, budget, tell)
        return tuple(
            replace(f, found_at=raised[f.id][0], found_at_job=raised[f.id][1], raised="replayed")
            if f.id in raised
            else f
            for f in found
        )

    with log.reading() as use:
        look = _read(log, use, notes_in(use), findings_kept.key_of(log, use))
    return look(dated)


def _read(log: Log, use: Use, notes: Sequence[Note], key: str) -> Callable[[_Dating], Watched]:
    """Read what a look at the log needs; what comes back looks, dates what it finds, keeps it and follows it up."""
    from qclog.services.watch import watching

    read = watching.read_for_watch(use)
    state = findings_kept.state_of(use)
    budget = claims.false_findings(use)
    opened = {row.job: row.opened for row in use.rows("jobs_all", stored.Job)}

    def look(dating: _Dating) -> Watched:
        from qclog.watch.findings import find

        observations = watching.arrange(read)
        values = observations.rows.height
        findings = dating(find(observations, budget), observations, budget)
        if log.as_of is None and state is not None:
            finding_memory.keep(log, state, findings, values)
        followed = follow(findings, notes, observations, opened)
        findings_kept.keep(log, key, Kept(findings, {f.id: f.returned for f in followed if f.returned}, values))
        return Watched(lambda: observations, values, followed)

    return look


def _observe(log: Log) -> Observations:
    from qclog.services.watch import watching

    return watching.observe(log)


def follow(
    findings: Sequence[Finding], notes: Iterable[Note], observations: Observations, opened: dict[str, datetime]
) -> tuple[Followed, ...]:
    """The findings with their notes, and noted ones that are no longer found; `opened` has the day of each job."""
    from qclog.services.watch.finding_return import jobs_again

    noted = tuple(notes)
    last = {note.finding: note for note in noted}
    returned = {
        f.id: jobs_again(f, last[f.id].noted_at, observations, opened)
        for f in findings
        if f.id in last and last[f.id].state == "closed"
    }
    return _with_notes(findings, noted, returned)


def _with_notes(
    findings: Sequence[Finding], notes: Iterable[Note], returned: Mapping[str, tuple[str, ...]]
) -> tuple[Followed, ...]:
    said: dict[str, list[Note]] = {}
    for note in notes:
        said.setdefault(note.finding, []).append(note)
    followed = [Followed(f.id, f, tuple(said.pop(f.id, ())), returned.get(f.id, ())) for f in findings]
    return (*followed, *(Followed(name, None, tuple(mine)) for name, mine in said.items()))


def pick(followed: Sequence[Followed], name: str) -> Followed:
    """The finding of that id, or the only one whose id holds `name`. UnknownNameError if there is none or several."""
    exact = [f for f in followed if f.id == name]
    holding = exact or [f for f in followed if name.casefold() in f.id.casefold()]
    if len(holding) == 1:
        return holding[0]
    several = "several findings are called that" if holding else "no finding is called that"
    names = ", ".join(f.id for f in (holding or followed)[:8])
    raise UnknownNameError(
        several, field="finding", found=name, hint=f"there are: {names}" if names else "there are no findings"
    )


def note_finding(
    log: Log,
    name: str,
    state: str,
    person: str,
    submission: Submission,
    *,
    found: str | None = None,
    done: str | None = None,
) -> Note:
    """Say something of a finding, named by its id or an unmistakable part of it.

    InputError if what was found (for explained, closed, rejected) or done (for closed) is not said.
    """
    choose(state, STATES, "state")
    found, done = (found or "").strip() or None, (done or "").strip() or None
    if state in SETTLED and found is None:
        raise InputError(f"say what was found before it is {state}", field="found", hint="--found TEXT")
    if state == "closed" and done is None:
        raise InputError("say what was done before it is closed", field="done", hint="--done TEXT")
    for field, text in (("found", found), ("done", done)):
        if text is not None and len(text) > 1000:
            raise InputError("this is longer than 1,000 letters", field=field, found=f"{len(text)} letters")
    chosen = pick(watch(log).followed, name)
    told = chosen.finding.text if chosen.finding is not None else chosen.notes[-1].told
    note = Note(chosen.id, state, person, now(), found, done, None if told is None else told[:1000])
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.NOTE_FINDING)
        records.need(use, "person", "person", person, "person")
        rights.need_name(use, submission.by, person)
        add_note(use, note)
    return note
