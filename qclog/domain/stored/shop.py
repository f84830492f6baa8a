"""Rows of the shop: people, gauges, shims, sheets, settings, what was said of findings and of the work."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple

from qclog.domain.stored.kinds import of


@of("people")
class Person(NamedTuple):
    """One row per person."""

    person: str
    role: str


@of("people_now")
class PersonNow(NamedTuple):
    """One row per person as they stand now, their PIN's hash left out."""

    person: str
    role: str
    has_left: bool
    has_pin: bool


@of("person_changes")
class PersonChange(NamedTuple):
    """One row per thing that is now other than when a person was added: a role, or that they have left."""

    person: str
    what: str
    value: str


@of("pin_of")
class Pin(NamedTuple):
    """One row: a person's PIN hash, and when their wrong tries since the last good one or the last new PIN were."""

    pin: str | None
    wrong: list[datetime]


@of("wrong_pins")
class WrongPins(NamedTuple):
    """One row per person under whose name a wrong PIN was tried since $since: how many, the last, those in a row."""

    person: str
    tries: int
    last: datetime
    in_a_row: list[datetime]


@of("gauges")
class Gauge(NamedTuple):
    """One row per gauge, with its last check and whether it is withdrawn now."""

    gauge: str
    kind: str
    unit: str
    step: float
    leaves: str | None
    calibration_due: date | None
    tolerance: float | None
    last_checked: datetime | None
    last_dropped: datetime | None
    withdrawn: bool


@of("gauge_checks")
class GaugeEvent(NamedTuple):
    """One row per gauge event, oldest first."""

    gauge: str
    checked_at: datetime
    event: str
    reference: float | None
    reading: float | None
    unit: str | None
    by: str
    note: str | None
    entry: int


@of("shim_stock")
class ShimSize(NamedTuple):
    """One row per size of leaf: how many there are now, and the least there should be of its packet size."""

    stock_set: str
    nominal: float
    measured: float
    unit: str
    layer: float | None
    leaves: int
    minimum: int | None


@of("shim_movements")
class ShimMovement(NamedTuple):
    """One row per movement of shim leaves, in the order they came into the log."""

    set: str
    nominal: float
    measured: float
    moved_at: datetime
    change: int
    why: str
    job: str | None
    by: str
    note: str | None
    entry: int


@of("sheets")
class SheetText(NamedTuple):
    """One row per version of every sheet, oldest entry first."""

    case_type: str
    version: str
    since: datetime | None
    text: str
    entry: int


@of("sheets_of")
class SheetOfType(NamedTuple):
    """One row per version of one case type's sheet, with who entered it."""

    case_type: str
    version: str
    since: datetime | None
    text: str
    entry: int
    by: str
    entered_at: datetime


@of("case_types")
class CaseType(NamedTuple):
    """One row per case type: how many jobs, and the times of the first and last."""

    case_type: str
    jobs: int
    first_opened: datetime
    last_opened: datetime


@of("settings")
class Setting(NamedTuple):
    """One row per setting."""

    name: str
    value: str


@of("finding_notes")
class FindingNote(NamedTuple):
    """One row per thing said of a finding, the oldest first."""

    finding: str
    state: str
    found: str | None
    done: str | None
    told: str | None
    by: str
    noted_at: datetime
    entry: int


@of("changes")
class Change(NamedTuple):
    """One row per recorded change of the work, the oldest first."""

    kind: str
    case_type: str | None
    characteristic: str | None
    identifier: str | None
    level: str | None
    since: datetime
    note: str | None
    by: str
    entry: int


@of("units_used")
class UnitUsed(NamedTuple):
    """One row per unit that any row of the log names."""

    unit: str


@of("gauge_details")
class GaugeDetail(NamedTuple):
    """One row per thing said of a gauge later, as it stands now."""

    gauge: str
    name: str
    value: str


@of("comeback_details")
class ComebackDetail(NamedTuple):
    """One row per thing said of a return after it was opened, as it stands now, with who said it when."""

    job: str
    returned: datetime
    name: str
    value: str
    entered_at: datetime
    entered_by: str


@of("house_details")
class HouseDetail(NamedTuple):
    """One row per thing the house set for itself, as it stands now: a code and its words, a rate and its amount."""

    name: str
    code: str
    value: str
