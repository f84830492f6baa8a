"""Who may do what: every act that takes a right, and the roles that have it. The one table that everything asks."""

from __future__ import annotations

from enum import StrEnum

from qclog.domain.jobs import ROLES


class Act(StrEnum):
    """What someone does to a log, in the words of "may ..."."""

    READ = "log readings"
    READ_RETURN = "log readings of what came back"
    CORRECT = "correct what someone else read"
    NAME_ANOTHER = "log something in another's name"
    OPEN_JOB = "open a job"
    DESCRIBE_JOB = "say something of a job"
    FIT_PART = "add a part to a job"
    DISPATCH = "sign a job off"
    CONCEDE = "grant a concession"
    COMEBACK = "write comebacks"
    CHECK_GAUGE = "check a gauge, or say that it was dropped"
    KEEP_GAUGES = "add, withdraw, return or calibrate gauges"
    USE_SHIMS = "take shims for a job and bring them back"
    KEEP_SHIMS = "change the shim stock"
    NOTE_FINDING = "say what became of a finding"
    RECORD_CHANGE = "record a change of the work"
    KEEP_HOUSE = "set the house's codes and rates"
    CHANGE_SHEETS = "change sheets and limits"
    MANAGE_PEOPLE = "change people, their roles and PINs"
    IMPORT = "import a folder"


_HANDS = ("technician", "inspector", "manager")
_INSPECTS = ("inspector", "manager")
_TABLE: dict[Act, tuple[str, ...]] = {
    Act.READ: _HANDS,
    Act.READ_RETURN: (*_HANDS, "warranty"),
    Act.CORRECT: _INSPECTS,
    Act.NAME_ANOTHER: ("manager",),
    Act.OPEN_JOB: _HANDS,
    Act.DESCRIBE_JOB: _HANDS,
    Act.FIT_PART: _HANDS,
    Act.DISPATCH: _INSPECTS,
    Act.CONCEDE: _INSPECTS,
    Act.COMEBACK: (*_INSPECTS, "warranty"),
    Act.CHECK_GAUGE: _HANDS,
    Act.KEEP_GAUGES: _INSPECTS,
    Act.USE_SHIMS: (*_HANDS, "stores"),
    Act.KEEP_SHIMS: ("manager", "stores"),
    Act.NOTE_FINDING: (*_INSPECTS, "warranty"),
    Act.RECORD_CHANGE: (*_INSPECTS, "warranty"),
    Act.KEEP_HOUSE: ("manager",),
    Act.CHANGE_SHEETS: ("manager",),
    Act.MANAGE_PEOPLE: ("manager",),
    Act.IMPORT: ("manager",),
}
_OF_DETAIL = {"dispatched": Act.DISPATCH, "concession": Act.CONCEDE}


def roles_with(act: Act) -> tuple[str, ...]:
    """The roles that may do `act`. LookupError for what is no act of the table, whoever asks."""
    if act not in _TABLE:
        raise LookupError(f"{act!r} is no act that anyone has a right to")
    return _TABLE[Act(act)]


def acts_of(role: str) -> tuple[Act, ...]:
    """What a role may do. LookupError for what is no role."""
    if role not in ROLES:
        raise LookupError(f"{role!r} is no role")
    return tuple(act for act, roles in _TABLE.items() if role in roles)


def act_of_detail(name: str) -> Act:
    """The act of saying the detail `name` of a job, at its opening or later."""
    return _OF_DETAIL.get(name, Act.DESCRIBE_JOB)
