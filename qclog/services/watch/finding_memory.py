"""When each finding was first raised: remembered from one look at a log to the next, or replayed.

Kept with the account, as the findings are, and only believed where the log still holds the entry it was written at: who
may only read a log could not keep it there, and a replay gives it again from the log alone.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from qclog.domain import stored
from qclog.domain.findings import Finding
from qclog.services.watch import findings_kept
from qclog.store.log import Log, Use

if TYPE_CHECKING:
    from qclog.watch.observations import Observations

SOON = 400  # values: what was found when no more than these were new was found as they came
_SUFFIX = ".raised"


@dataclass(frozen=True, slots=True)
class Memory:
    """What a look at a log at one entry knew: how many values there were; of each finding that stood its id, the moment
    (UTC) and job of the reading at which it was first raised, and how that is known.
    """

    entry: int
    digest: str
    values: int
    raised: dict[str, tuple[datetime, str, str]]


def load(log: Log, use: Use) -> Memory | None:
    """What is remembered of an open log; None where nothing is, or where the log has another past."""
    try:
        said = json.loads(findings_kept.file_of(log).with_suffix(_SUFFIX).read_text(encoding="utf-8"))
        memory = Memory(
            int(said["entry"]),
            str(said["digest"]),
            int(said["values"]),
            {k: (datetime.fromisoformat(moment), job, how) for k, (moment, job, how) in said["raised"].items()},
        )
    except (OSError, RuntimeError, ValueError, KeyError, TypeError, AttributeError):
        return None
    chain = {d.entry: d.digest for d in use.rows("digests", stored.Digest)}
    return memory if chain.get(memory.entry) == memory.digest else None


def keep(log: Log, state: tuple[int, str], findings: Sequence[Finding], values: int) -> None:
    """Remember what stands, for a log at its entry and digest; nothing where the folder can't be written."""
    entry, digest = state
    raised = {f.id: (f.found_at.isoformat(), f.found_at_job, f.raised) for f in findings if f.stands}
    body = {"entry": entry, "digest": digest, "values": values, "raised": raised}
    findings_kept.write(log, _SUFFIX, json.dumps(body))


def dated(findings: Sequence[Finding], memory: Memory | None, observations: Observations) -> tuple[Finding, ...]:
    """The findings, each with the moment it was first raised where that is remembered or has just come."""
    rows = observations.rows
    if memory is None or rows.is_empty():
        return tuple(findings)
    last, job = rows["taken_at"][-1], rows["job"][-1]
    just_now = 0 < rows.height - memory.values <= SOON

    def one(finding: Finding) -> Finding:
        known = memory.raised.get(finding.id)
        if known is not None and known[0] <= last:
            return replace(finding, found_at=known[0], found_at_job=known[1], raised=known[2])
        if just_now and finding.stands:
            return replace(finding, found_at=last, found_at_job=job, raised="watched")
        return finding

    return tuple(one(f) for f in findings)
