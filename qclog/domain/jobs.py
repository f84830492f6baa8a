"""Jobs, cases, parts and lots, people, gauges and their checks, comebacks: the words the log uses for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

STAGES = ("as_found", "trial", "final", "return")
ROLE_WORDS = {
    "technician": "a technician",
    "inspector": "an inspector",
    "manager": "a manager",
    "warranty": "in warranty",
    "stores": "in the stores",
}
ROLES = tuple(ROLE_WORDS)
PERSON_CHANGES = ("role", "left")
GAUGE_KINDS = ("feeler", "dial", "depth_mic", "micrometer", "bore", "torque", "balance", "other")
GAUGE_EVENTS = ("check", "dropped", "withdrawn", "returned", "calibrated")
CONDITIONS_OF_PARTS = ("new", "reused", "reclaimed")
ATTRIBUTABLE = ("yes", "no", "open")

STAGE_WORDS = {
    "as_found": "as found",
    "trial": "trial",
    "final": "final",
    "return": "as returned",
}


DETAILS = (
    "case_serial",
    "casting",
    "rebuild",
    "machining_batch",
    "variant",
    "dispatched",
    "customer_ref",
    "outstanding",
    "concession",
)  # what may be said of a job, at its opening or later


@dataclass(frozen=True, slots=True)
class Person:
    """Someone the log knows by name."""

    person: str
    role: str


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge: what it is, its unit and step, and the leaves of a feeler, in that unit."""

    gauge: str
    kind: str
    unit: str
    step: float
    leaves: tuple[float, ...] = ()
    calibration_due: date | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One visit of one case."""

    job: str
    case_type: str
    opened: datetime
    case_serial: str | None = None
    casting: str | None = None
    rebuild: int | None = None
    machining_batch: str | None = None
    variant: str | None = None
    dispatched: datetime | None = None
    customer_ref: str | None = None
    outstanding: str | None = None
    concession: str | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A part fitted to a job, with its lot and condition; perhaps a sub-assembly that was a job of its own."""

    job: str
    part: str
    lot: str | None = None
    supplier: str | None = None
    condition: str | None = None
    sub_assembly: str | None = None
