"""A return from the day it is opened to the day it is closed: what is said of it later, by whom, and what it cost."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.claims import AMOUNTS, COMEBACK_DETAILS, HOURS_FROM, HOUSE_DETAILS, MOMENTS, RATES
from qclog.domain.jobs import ATTRIBUTABLE
from qclog.domain.moments import read_moment, show_moment, write_moment
from qclog.domain.rights import Act
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.errors import InputError, UnknownNameError
from qclog.services.keeping import rights
from qclog.services.keeping.sheets import timezone_of
from qclog.store import records
from qclog.store.log import Log, Submission, Use


@dataclass(frozen=True, slots=True)
class Said:
    """One thing said of a return, with who said it when."""

    name: str
    value: str
    entered_at: datetime
    by: str

    @property
    def words(self) -> str:
        """What it is, in words."""
        return COMEBACK_DETAILS[self.name]


@dataclass(frozen=True, slots=True)
class Claim:
    """One return. `cost` is labour at the house's rate, parts and carriage together, in `currency`; None until one of
    them is said, or while labour has no rate.
    """

    job: str
    returned: datetime
    said: tuple[Said, ...]
    cost: float | None
    currency: str
    zone: ZoneInfo

    def lines(self) -> tuple[str, ...]:
        """What was said, one line each, with who and when; the cost last."""
        told = [f"{s.words}: {self._shown(s)} ({s.by}, {show_moment(s.entered_at, self.zone)})" for s in self.said]
        if self.cost is not None:
            told.append(f"cost so far: {self.cost:,.2f} {self.currency}".strip())
        return tuple(told)

    def _shown(self, said: Said) -> str:
        if said.name in MOMENTS:
            return show_moment(read_moment(said.value, self.zone), self.zone)
        return said.value


def claims_of(log: Log, job: str) -> tuple[Claim, ...]:
    """Every return of a job, the oldest first."""
    with log.reading() as use:
        backs = use.rows("job_comebacks", stored.JobComeback, job=job)
        details = [d for d in use.rows("comeback_details", stored.ComebackDetail) if d.job == job and d.value]
        house = use.rows("house_details", stored.HouseDetail)
        zone = timezone_of(use)
    order = list(COMEBACK_DETAILS)
    found = []
    for back in backs:
        own = sorted((d for d in details if d.returned == back.returned), key=lambda d: order.index(d.name))
        said = tuple(Said(d.name, d.value, d.entered_at, d.entered_by) for d in own)
        found.append(Claim(job, back.returned, said, *_cost(said, house), zone))
    return tuple(found)


def _cost(said: tuple[Said, ...], house: list[stored.HouseDetail]) -> tuple[float | None, str]:
    rates = {d.code: d.value for d in house if d.name == "rate"}
    amounts = {s.name: float(s.value) for s in said if s.name in AMOUNTS}
    known = [amounts[name] for name in ("parts_cost", "carriage_cost") if name in amounts]
    if "labour_hours" in amounts:
        if not rates.get("labour_hour"):
            return None, rates.get("currency", "")
        known.append(amounts["labour_hours"] * float(rates["labour_hour"]))
    return (sum(known) if known else None), rates.get("currency", "")


def amend(
    log: Log, job: str, said: dict[str, str], submission: Submission, returned: datetime | None = None
) -> datetime:
    """Say something of a return that was opened before, the last one unless `returned` says which; when it came back.

    What was said before stays in the log; '' takes it back. InputError for what a return has not, or a value that will
    not do; UnknownNameError if the job has no such return.
    """
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.COMEBACK)
        records.need(use, "job", "job", job, "job")
        zone = timezone_of(use)
        backs = use.rows("job_comebacks", stored.JobComeback, job=job)
        chosen = [b for b in backs if returned in (None, b.returned)]
        if not chosen:
            known = ", ".join(show_moment(b.returned, zone) for b in backs) or "none: record it with qclog job comeback"
            raise UnknownNameError(
                "the job has no such return", field="returned", found=returned, hint=f"it has {known}"
            )
        if not said:
            raise InputError("say something of the return", field="claim", hint=", ".join(COMEBACK_DETAILS))
        for name, value in said.items():
            records.add_comeback_detail(use, job, chosen[-1].returned, name, _checked(use, name, value, zone))
    return chosen[-1].returned


def _checked(use: Use, name: str, value: str, zone: ZoneInfo) -> str:
    if name not in COMEBACK_DETAILS:
        raise InputError("a return has no such detail", field=name, hint="it has " + ", ".join(COMEBACK_DETAILS))
    if value == "":
        return value
    if name in MOMENTS:
        return write_moment(read_moment(value, zone), zone)
    if name in AMOUNTS:
        return _amount(name, value)
    if name == "attributable" and value not in ATTRIBUTABLE:
        raise InputError("say whether it is ours", field=name, found=value, hint=", ".join(ATTRIBUTABLE))
    if name == "hours_from" and value not in HOURS_FROM:
        raise InputError("say how the hours are known", field=name, found=value, hint=", ".join(HOURS_FROM))
    if name in ("complaint_code", "failure_code"):
        codes = {d.code: d.value for d in use.rows("house_details", stored.HouseDetail) if d.name == name and d.value}
        if value not in codes:
            listed = ", ".join(f"{code} {words}" for code, words in codes.items())
            hint = f"there are: {listed}" if listed else f"add it with qclog house set {name} {value} WORDS"
            raise InputError(f"the house has no such {HOUSE_DETAILS[name]}", field=name, found=value, hint=hint)
    return value


def _amount(name: str, value: str) -> str:
    try:
        number = number_of(float(value))
    except ValueError:
        number = None
    if number is None or number < 0:
        raise InputError("this is an amount, 0 or more", field=name, found=value, hint="as 1.5")
    return f"{number:.15g}"


def house(log: Log) -> list[stored.HouseDetail]:
    """The house's own codes and rates."""
    with log.reading() as use:
        return [d for d in use.rows("house_details", stored.HouseDetail) if d.value]


def set_house(log: Log, name: str, code: str, value: str, submission: Submission) -> None:
    """Set a code of complaints or failures with its words, or a rate with its amount; '' takes it away."""
    if name not in HOUSE_DETAILS:
        raise InputError("the house sets no such thing", field="name", found=name, hint=", ".join(HOUSE_DETAILS))
    if name == "rate" and code not in RATES:
        raise InputError("there is no such rate", field="code", found=code, hint=", ".join(RATES))
    if name == "rate" and code == "labour_hour" and value:
        value = _amount("labour_hour", value)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_HOUSE)
        records.add_house_detail(use, name, code, value)
