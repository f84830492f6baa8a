"""What people say of findings, and changes of the work: the words the log uses for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

STATES = ("open", "looked into", "explained", "closed", "rejected")
CHANGES = ("new setup", "gauge re-set", "supplier change", "other")
CHANGED = ("machining_batch", "lot", "gauge", "technician")


@dataclass(frozen=True, slots=True)
class Note:
    """One thing said of a finding, by its text id. `told` is what the finding said then; times in UTC."""

    finding: str
    state: str
    person: str
    noted_at: datetime
    found: str | None = None
    done: str | None = None
    told: str | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the work from `since` (UTC) on: of a case type's characteristic (None: all of them), or of a level
    of an identifier, such as one gauge.
    """

    kind: str
    since: datetime
    person: str
    case_type: str | None = None
    characteristic: str | None = None
    identifier: str | None = None
    level: str | None = None
    note: str | None = None
