"""What the watch finds, what people say of it, and changes of the work."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

STATES = ("open", "looked into", "explained", "closed", "rejected")
CHANGES = ("new setup", "gauge re-set", "supplier change", "other")
BUDGET = 1.0  # false findings a year that may stand, where the house says nothing else
CHANGED = ("machining_batch", "lot", "gauge", "technician")


@dataclass(frozen=True, slots=True)
class Cause:
    """One kind of trouble, and all that is said of it.

    says : the sentence, with {identifier}, {level}, {what} (each characteristic, its direction and size) and {units}.
    check_next : what settles it. shifts : whether it moves readings, so that it may explain a comeback. alone : whether
    it is about one unit, not a group.
    """

    says: str
    check_next: str
    shifts: bool = True
    alone: bool = False


CAUSES = {
    "odd machining": Cause(
        "Batch {level} suggests odd machining: {what}, {units}",
        "measure the batch's cases bare (depth, bore) and look at the setup; check the sisters still here",
    ),
    "parts lot": Cause(
        "{identifier} {level} suggests a parts batch: {what}, {units}",
        "measure three of the lot and three of another; quarantine what is left of it",
    ),
    "gauge": Cause(
        "Gauge {level} suggests an offset: {what}, {units}",
        "put it on the check piece; measure three of these units with another gauge",
    ),
    "technician": Cause(
        "Readings by {level} are off: {what}, {units}; no gauge explains it",
        "let two people measure the same three units with the same gauge; no blame before that",
        shifts=False,
    ),
    "worn casing": Cause(
        "Rebuilt cases suggest wear ({level}): {what}, {units}",
        "measure the case bare: bore, ovality, face flatness; decide on sleeving or scrap",
    ),
    "odd casing": Cause(
        "One odd unit, {level}: {what}, {units}",
        "look at the readings for a slip or swarf; measure it again if it is still here",
        alone=True,
    ),
    "drift": Cause(
        "A slow drift that follows no identifier ({level}): {what}, {units}",
        "compare the oldest and newest units with one gauge; look for slow changes in supply or setup",
    ),
}


class Effect(NamedTuple):
    """What a trouble does to one characteristic: `direction` as in `Finding`, how far in ordinary spreads and in the
    unit (None where case types differ in it), and over how many units.
    """

    characteristic: str
    direction: str
    size_sd: float
    size: float | None
    unit: str | None
    n: int


@dataclass(frozen=True, slots=True)
class Finding:
    """One trouble that stands. Fields as in the findings JSON that other programs rely on; times in UTC.

    `strength` is the expected number of findings this strong, of its kind, anywhere in the log if nothing were wrong:
    a p-value that allows for every identifier, stretch of time and choice of characteristics that was looked at.
    `sizes` has (case type, characteristic, stage, size in spreads, size in its unit, unit) for each place it shows;
    `effects` the same for each characteristic, strongest first, and `direction` to `unit` are those of the first.
    `last_seen` is the last affected reading; `over`: enough sound units have followed. `stands` is false for what is
    merely worth a look. `raised` says how `found_at` is known: `guessed` from the finished log, `replayed`, or
    `watched` when it was first there.
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
    effects: tuple[Effect, ...] = ()
    last_seen: datetime | None = None
    over: bool = False
    stands: bool = True
    raised: str = "guessed"


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
