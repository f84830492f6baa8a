"""A return from the day it is opened to the day it is closed: what is said of it later, by whom, and what it cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from qclog.domain import stored
from qclog.domain.claims import AMOUNTS, COMEBACK_DETAILS, FALSE_FINDINGS, HOURS_FROM, HOUSE_DETAILS, MOMENTS, RATES
from qclog.domain.findings import BUDGET
from qclog.domain.jobs import ATTRIBUTABLE
from qclog.domain.moments import in_zone, read_moment, show_moment, write_moment
from qclog.domain.rights import Act
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.errors import InputError, UnknownNameError
from qclog.services.keeping import rights
from qclog.services.keeping.sheets import timezone_of
from qclog.store import records
from qclog.store.log import Log, Submission, Use

NOT_SAID = "not said yet"
_MONEY = ("labour_hours", "parts_cost", "carriage_cost")


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
    attributable: str | None
    said: tuple[Said, ...]
    cost: float | None
    currency: str
    zone: ZoneInfo

    @property
    def day(self) -> date:
        """The day that it came back, in the workshop's zone."""
        return in_zone(self.returned, self.zone).date()

    def value(self, name: str) -> str:
        """What was said of one of COMEBACK_DETAILS; empty where nothing was."""
        return next((self._shown(s) for s in self.said if s.name == name), "")

    def amount(self, name: str) -> float | None:
        """What was said of one of AMOUNTS; None where nothing was."""
        return next((float(s.value) for s in self.said if s.name == name), None)

    @property
    def state(self) -> str:
        """How far it has come: the last of MOMENTS that was said, or opened."""
        names = {s.name for s in self.said}
        return next((name for name in reversed(MOMENTS) if name in names), "opened")

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


@dataclass(frozen=True, slots=True)
class Totals:
    """Returns added up: how many, ours, not ours, closed; hours of labour and the amounts as far as they were said.

    `labour_hours`, `parts_cost` and `carriage_cost` are None where none of the returns says any.
    `cost` leaves out the returns whose labour has no rate (`unpriced`) and those of which nothing was said (`unsaid`).
    """

    returns: int
    ours: int
    not_ours: int
    closed: int
    labour_hours: float | None
    parts_cost: float | None
    carriage_cost: float | None
    cost: float
    unpriced: int
    unsaid: int
    currency: str

    @property
    def sum_text(self) -> str:
        """The cost with its currency; `not said yet` where it was said of none."""
        if self.returns and self.unsaid == self.returns:
            return NOT_SAID
        return f"{self.cost:,.2f} {self.currency}".strip()

    @property
    def labour_text(self) -> str:
        """The hours of labour; `not said yet` where they were said of none."""
        return NOT_SAID if self.labour_hours is None else f"{self.labour_hours:g}"

    @property
    def amounts(self) -> tuple[str, ...]:
        """What was said of labour, parts and carriage, one by one, as far as it was."""
        labour = () if self.labour_hours is None else (f"{self.labour_hours:g} hours of labour",)
        money = (("parts", self.parts_cost), ("carriage", self.carriage_cost))
        return labour + tuple(f"{name} {amount:,.2f}" for name, amount in money if amount is not None)

    @property
    def left_out(self) -> str:
        """What the cost leaves out; empty where that is nothing, or all."""
        told = [f"{self.unpriced} without a rate for labour"] if self.unpriced else []
        told += [f"{self.unsaid} of which no cost was said"] if 0 < self.unsaid < self.returns else []
        return ", ".join(told)

    @property
    def cost_text(self) -> str:
        """The cost with its currency, and what it leaves out."""
        return self.sum_text + (f", without {self.left_out}" if self.left_out else "")


def claims_of(log: Log, job: str) -> tuple[Claim, ...]:
    """Every return of a job, the oldest first."""
    return tuple(claim for claim in all_claims(log) if claim.job == job)


def all_claims(log: Log) -> tuple[Claim, ...]:
    """Every return, the oldest first."""
    with log.reading() as use:
        backs = use.rows("comebacks_now", stored.Comeback)
        details = [d for d in use.rows("comeback_details", stored.ComebackDetail) if d.value]
        house = use.rows("house_details", stored.HouseDetail)
        zone = timezone_of(use)
    order = list(COMEBACK_DETAILS)
    own: dict[tuple[str, datetime], list[Said]] = {}
    for d in sorted(details, key=lambda d: order.index(d.name)):
        own.setdefault((d.job, d.returned), []).append(Said(d.name, d.value, d.entered_at, d.entered_by))
    found = []
    for back in sorted(backs, key=lambda b: (b.returned, b.job)):
        said = tuple(own.get((back.job, back.returned), ()))
        found.append(Claim(back.job, back.returned, back.attributable, said, *_cost(said, house), zone))
    return tuple(found)


def between(claims: Sequence[Claim], since: date | None, until: date | None = None) -> tuple[Claim, ...]:
    """Those of the `claims` that came back from day `since` on, up to and with day `until`; None: no such end."""
    return tuple(c for c in claims if (since or c.day) <= c.day <= (until or c.day))


def by_failure(claims: Sequence[Claim], house: Sequence[stored.HouseDetail]) -> tuple[tuple[str, Totals], ...]:
    """(failure in the house's words, totals), the dearest first; those without a code under "no code yet"."""
    words = {d.code: f"{d.code} {d.value}" for d in house if d.name == "failure_code"}
    groups: dict[str, list[Claim]] = {}
    for claim in claims:
        code = claim.value("failure_code")
        groups.setdefault(words.get(code, code) or "no code yet", []).append(claim)
    added = [(name, total(group)) for name, group in groups.items()]
    return tuple(sorted(added, key=lambda pair: (-pair[1].cost, -pair[1].returns, pair[0])))


def total(claims: Sequence[Claim]) -> Totals:
    """The `claims` added up."""
    money = [c for c in claims if any(s.name in _MONEY for s in c.said)]

    def summed(name: str) -> float | None:
        amounts = [amount for c in claims if (amount := c.amount(name)) is not None]
        return sum(amounts) if amounts else None

    return Totals(
        returns=len(claims),
        ours=sum(c.attributable == "yes" for c in claims),
        not_ours=sum(c.attributable == "no" for c in claims),
        closed=sum(c.state == "closed" for c in claims),
        labour_hours=summed("labour_hours"),
        parts_cost=summed("parts_cost"),
        carriage_cost=summed("carriage_cost"),
        cost=sum(c.cost or 0.0 for c in claims),
        unpriced=sum(c.cost is None for c in money),
        unsaid=len(claims) - len(money),
        currency=claims[0].currency if claims else "",
    )


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


def _budget(text: str) -> str:
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not 0.05 <= number <= 10:
        raise InputError(
            "how many false findings a year may stand", field="false_findings", found=text, hint="0.05 to 10, such as 1"
        )
    return f"{number:g}"


def house(log: Log) -> list[stored.HouseDetail]:
    """The house's own codes and rates."""
    with log.reading() as use:
        return [d for d in use.rows("house_details", stored.HouseDetail) if d.value]


def false_findings(use: Use) -> float:
    """How many false findings a year the house lets stand."""
    said = [d.value for d in use.rows("house_details", stored.HouseDetail) if (d.name, d.code) == FALSE_FINDINGS]
    return float(said[0]) if said and said[0] else BUDGET


def set_house(log: Log, name: str, code: str, value: str, submission: Submission) -> None:
    """Set a code of complaints or failures with its words, or a rate with its amount; '' takes it away."""
    if name not in HOUSE_DETAILS:
        raise InputError("the house sets no such thing", field="name", found=name, hint=", ".join(HOUSE_DETAILS))
    if name == "rate" and code not in RATES:
        raise InputError("there is no such rate", field="code", found=code, hint=", ".join(RATES))
    if name == "rate" and code == "labour_hour" and value:
        value = _amount("labour_hour", value)
    if (name, code) == FALSE_FINDINGS and value:
        value = _budget(value)
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.KEEP_HOUSE)
        records.add_house_detail(use, name, code, value)
