"""What the watch finds, what people say of it, and changes of the work."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

STATES = ("open", "looked into", "explained", "closed", "rejected")
CHANGES = ("new setup", "gauge re-set", "supplier change", "other")
CHANGED = ("machining_batch", "lot", "gauge", "technician")


@dataclass(frozen=True, slots=True)
class Cause:
    """One kind of trouble, and all that is said of it.

    follows : the kind of identifier whose departures are called so. says : the sentence, with {level}, {what}, {where},
    {way}, {size} and {units}. check_next : what settles it. shifts : whether it moves readings, so that it may explain
    a comeback. alone : whether it is about one unit, not a group.
    """

    follows: str
    says: str
    check_next: str
    shifts: bool = True
    alone: bool = False


CAUSES = {
    "odd machining": Cause(
        "machining_batch",
        "Batch {level} suggests odd machining: {what} of {where} {way} by {size}, n = {units}",
        "measure the batch's cases bare (depth, bore) and look at the setup; check the sisters still here",
    ),
    "parts lot": Cause(
        "lot",
        "Lot {level} suggests a parts batch: {what} of {where} {way} by {size}, n = {units}",
        "measure three of the lot and three of another; quarantine what is left of it",
    ),
    "gauge": Cause(
        "gauge",
        "Gauge {level} suggests an offset: {what} of {where} {way} by {size}, n = {units}",
        "put it on the check piece; measure three of these units with another gauge",
    ),
    "technician": Cause(
        "technician",
        "Readings by {level} are {way}: {what} of {where} by {size}, n = {units}; no gauge explains it",
        "let two people measure the same three units with the same gauge; no blame before that",
        shifts=False,
    ),
    "worn casing": Cause(
        "rebuilt",
        "Rebuilt cases suggest wear ({level}): {what} of {where} {way} by {size}, n = {units}",
        "measure the case bare: bore, ovality, face flatness; decide on sleeving or scrap",
    ),
    "odd casing": Cause(
        "case_serial",
        "One odd unit, {level}: {what} of {where} {way} by {size}, n = {units}",
        "look at the readings for a slip or swarf; measure it again if it is still here",
        alone=True,
    ),
    "drift": Cause(
        "time",
        "A slow drift that follows no identifier: {what} of {where} {way} by {size}, n = {units}",
        "compare the oldest and newest units with one gauge; look for slow changes in supply or setup",
    ),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One trouble that stands. Fields as in the findings JSON that other programs rely on; times in UTC.

    `strength` is the expected number of findings this strong, of its kind, anywhere in the log if nothing were wrong:
    a p-value that allows for every identifier, stretch of time and choice of characteristics that was looked at.
    `sizes` has (case type, characteristic, stage, size in spreads, size in its unit, unit) for each place it shows.
    """

    id: str
    cause: str
    identifier: str
    level: str
    case_types: tuple[str, ...]
    characteristics: tuple[str, ...]
    jobs: tuple[str, ...]
    direction: str
    size_sd: float
    size: float | None
    unit: str | None
    strength: float
    first_job: str
    last_job: str
    found_at_job: str
    found_at: datetime
    confounded_with: tuple[tuple[str, str], ...]
    text: str
    sizes: tuple[tuple[str, str, str, float, float, str], ...]
    per_rebuild: bool = False


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
