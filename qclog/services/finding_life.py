"""Living with findings: which stand, what people said of each, and which closed ones have come back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from scipy import stats

from qclog.domain.findings import STATES, Note
from qclog.domain.moments import now
from qclog.domain.rights import Act
from qclog.errors import InputError, UnknownNameError
from qclog.services import rights, watching
from qclog.services.people import choose
from qclog.store import records
from qclog.store.findings import add_note, notes_in
from qclog.store.log import Log, Submission
from qclog.watch.findings import Finding, find
from qclog.watch.observations import Observations
from qclog.watch.residuals import FEWEST, Floats, standardise, winsorised

SETTLED = ("explained", "closed", "rejected")
BACK_AT_LEAST = 0.5  # of the size it had: less than half of it is not the same trouble
BACK_BY_LUCK = 0.05


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
        return self.finding is not None and self.state not in SETTLED


@dataclass(frozen=True, slots=True)
class Watched:
    """The log as the watch sees it, and every finding, strongest first; ones no longer seen come last."""

    observations: Observations
    followed: tuple[Followed, ...]

    @property
    def standing(self) -> tuple[Finding, ...]:
        """The findings that stand."""
        return tuple(f.finding for f in self.followed if f.finding is not None and f.stands)

    @property
    def settled(self) -> tuple[Followed, ...]:
        """Those that were explained, closed or rejected, and have not come back."""
        return tuple(f for f in self.followed if not f.stands)


def watch(log: Log) -> Watched:
    """Look through the log, and at what was said of what is found."""
    observations = watching.observe(log)
    with log.reading() as use:
        notes = notes_in(use)
        jobs = {row["job"]: row["opened"] for row in use.frame("jobs_all").iter_rows(named=True)}
    return Watched(observations, follow(find(observations), notes, observations, jobs))


def follow(
    findings: Sequence[Finding], notes: Iterable[Note], observations: Observations, opened: dict[str, datetime]
) -> tuple[Followed, ...]:
    """The findings with their notes, and noted ones that are no longer found; `opened` has the day of each job."""
    said: dict[str, list[Note]] = {}
    for note in notes:
        said.setdefault(note.finding, []).append(note)
    followed = []
    for finding in findings:
        mine = tuple(said.pop(finding.id, ()))
        back = _back(finding, mine[-1].noted_at, observations, opened) if mine and mine[-1].state == "closed" else ()
        followed.append(Followed(finding.id, finding, mine, back))
    return (*followed, *(Followed(name, None, tuple(mine)) for name, mine in said.items()))


def _back(
    finding: Finding, closed: datetime, observations: Observations, opened: dict[str, datetime]
) -> tuple[str, ...]:
    """The affected jobs opened or read after `closed`, if those alone show at least half of the trouble again."""
    if not finding.sizes:
        return _heaped_again(finding, closed, observations.ticks)
    rows = observations.rows.with_row_index("row")
    recent = pl.col("job").is_in([j for j in finding.jobs if opened.get(j, closed) > closed])
    rows = rows.filter(pl.col("job").is_in(list(finding.jobs)) & (recent | (pl.col("taken_at") > closed)))
    if rows.is_empty():
        return ()
    z = _against_the_rest(finding, observations)
    sizes = {(case_type, code, stage): size for case_type, code, stage, size, _, _ in finding.sizes}
    expected = np.array(
        [
            sizes.get((r["case_type"], r["characteristic"], r["stage"]), 0.0)
            * (max(0, (r["rebuild"] or 0) - 1) if finding.per_rebuild else 1.0)
            for r in rows.iter_rows(named=True)
        ]
    )
    here = z[rows["row"].to_numpy()]
    use = np.isfinite(here) & (expected != 0.0)
    weight = float((expected[use] ** 2).sum())
    if weight == 0.0:
        return ()
    share = float((here[use] * expected[use]).sum()) / weight
    if share < BACK_AT_LEAST or share * np.sqrt(weight) < -stats.norm.ppf(BACK_BY_LUCK):
        return ()
    return tuple(rows["job"].unique(maintain_order=True))


def _against_the_rest(finding: Finding, observations: Observations) -> Floats:
    """Each row in spreads from the middle of those of its series that the finding does not name.

    Where it names nearly all, as it may after a long time, from the middle of all.
    """
    residuals = standardise(observations)
    z = np.full(len(observations.rows), np.nan)
    z[residuals.row] = residuals.z
    values = observations.rows["value"].to_numpy()
    sound = ~observations.rows["job"].is_in(list(finding.jobs)).to_numpy()
    order = np.argsort(residuals.series, kind="stable")
    for part in np.split(order, np.flatnonzero(np.diff(residuals.series[order])) + 1):
        at = residuals.row[part]
        others = values[at[sound[at]]]
        if len(others) >= FEWEST:
            middle, wide = winsorised(others)
            z[at] = (values[at] - middle) / (wide if wide > 0 else residuals.spread[part[0]])
    return z


def _heaped_again(finding: Finding, closed: datetime, ticks: pl.DataFrame) -> tuple[str, ...]:
    """The jobs read after `closed`, if that person's leaves still fall on the same side more often than luck would."""
    mine = ticks.filter((pl.col("technician") == finding.level) & (pl.col("taken_at") > closed))
    if mine.is_empty():
        return ()
    even = int(mine["even"].sum())
    hits = len(mine) - even if finding.id.endswith("odd") else even
    if stats.binomtest(hits, len(mine), 0.5, alternative="greater").pvalue > BACK_BY_LUCK:
        return ()
    return tuple(mine["job"].unique(maintain_order=True))


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
