"""Case-type sheets: what is measured on a case, where, and inside what limits; and which version is in force."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from qclog.domain.sheets import formula
from qclog.domain.sheets.sums import AnySum
from qclog.errors import UnknownNameError

SHAPES = ("target", "band", "upper", "lower", "record", "pass", "category")
OVER_POSITIONS = ("mean", "max", "min", "spread", "tilt")
LIMIT_SETS = ("new", "reused", "as_found", "any")


@dataclass(frozen=True, slots=True)
class Limits:
    """One limit set, in the characteristic's unit; None where there is no limit on that side."""

    nominal: float | None = None
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True, slots=True)
class Variant:
    """A variant of the case type, with what differs in words."""

    code: str
    name: str
    details: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Characteristic:
    """One thing measured, or worked out by a formula, on a case type."""

    code: str
    name: str
    unit: str
    step: float | None = None
    stages: tuple[str, ...] = ("final",)
    gauge_kind: str | None = None
    positions: tuple[str, ...] = ()
    view: str | None = None
    over_positions: str = "mean"
    shape: str = "record"
    categories: tuple[str, ...] = ()
    limits: tuple[tuple[str, Limits], ...] = ()
    plausible: tuple[float | None, float | None] = (None, None)
    forced_at: tuple[str, ...] = ()
    formula: str | None = None
    parts: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    states: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    source: str | None = None
    caution: str | None = None

    @property
    def derived(self) -> bool:
        """Whether it is worked out from other readings rather than read."""
        return self.formula is not None

    @property
    def judged_whole(self) -> bool:
        """Whether its limits are for all positions together (a run-out is a spread), not for the reading at each."""
        return bool(self.positions) and self.over_positions in ("spread", "tilt")

    @property
    def in_words(self) -> bool:
        """Whether its readings are words (pass or fail, or a category) rather than numbers."""
        return self.shape in ("pass", "category")

    @property
    def words(self) -> tuple[str, ...]:
        """The words a reading of it may be."""
        return ("pass", "fail") if self.shape == "pass" else self.categories

    def limit_set(self, stage: str, condition: str | None) -> tuple[str, Limits] | None:
        """The limit set that a reading at `stage` is judged by, for parts that are `condition` (new, reused).

        As-found readings have their own limits or none; otherwise the set for the parts' condition, else `any`.
        What is forced at one stage is judged only there: a trial stand-off leads to the shims, and has no limits.
        """
        sets = dict(self.limits)
        if stage in ("as_found", "return"):
            return ("as_found", sets["as_found"]) if "as_found" in sets else None
        if self.forced_at and stage not in self.forced_at:
            return None
        wanted = "reused" if condition == "reused" else "new"
        for name in (wanted, "any"):
            if name in sets:
                return name, sets[name]
        return None

    def applies_to(self, variant: str | None) -> bool:
        """Whether a case of `variant` has this characteristic."""
        return not self.variants or variant in self.variants


@dataclass(frozen=True, slots=True)
class Sheet:
    """One version of a case type's sheet."""

    code: str
    name: str
    family: str
    version: str
    characteristics: tuple[Characteristic, ...]
    in_force: date | None = None
    view: str | None = None
    variants: tuple[Variant, ...] = ()
    note: str | None = None
    caution: str | None = None
    sums: tuple[AnySum, ...] = ()
    text: str = field(default="", repr=False, compare=False)

    def characteristic(self, code: str) -> Characteristic:
        """The characteristic `code`; UnknownNameError with what there is if there is none."""
        for characteristic in self.characteristics:
            if characteristic.code == code:
                return characteristic
        raise UnknownNameError(
            f"the sheet {self.code} has no characteristic {code!r}",
            field="characteristic",
            found=code,
            hint="it has " + ", ".join(c.code for c in self.characteristics),
        )

    def measured(self, variant: str | None = None) -> tuple[Characteristic, ...]:
        """The characteristics that are read at the bench, in the order of the sheet."""
        return tuple(c for c in self.characteristics if not c.derived and c.applies_to(variant))

    def derived(self) -> tuple[Characteristic, ...]:
        """The characteristics that are worked out, each after those it uses."""
        waiting = {c.code: c for c in self.characteristics if c.formula is not None}
        done: list[Characteristic] = []

        def add(characteristic: Characteristic) -> None:
            del waiting[characteristic.code]
            for name in formula.names(formula.parse(characteristic.formula or "")):
                if name.code in waiting:
                    add(waiting[name.code])
            done.append(characteristic)

        while waiting:
            add(next(iter(waiting.values())))
        return tuple(done)


def stage_for(name: formula.Name, stage: str, characteristic: Characteristic) -> str:
    """The stage at which a formula worked out at `stage` takes the readings of `characteristic`.

    The stage written in the formula; else the same stage; else the nearest earlier one it is measured at; else
    the only or first one.
    """
    if name.stage is not None:
        return name.stage
    if stage in characteristic.stages:
        return stage
    order = ("as_found", "trial", "final", "return")
    earlier = [s for s in characteristic.stages if order.index(s) < order.index(stage)]
    return max(earlier, key=order.index) if earlier else characteristic.stages[0]


@dataclass(frozen=True, slots=True)
class Version:
    """A sheet and the moment (UTC) from which it is in force; None: from the beginning.

    `entry`, `entered_at` and `by` say how the log came to know it; entry 0: known all along.
    """

    sheet: Sheet
    since: datetime | None
    entry: int = 0
    entered_at: datetime | None = None
    by: str = ""


def version_at(versions: Sequence[Version], moment: datetime, known: int | None = None) -> Version:
    """The version in force at `moment`: the latest begun by then, else the earliest of all.

    `known`: only versions that the log had by that entry, as someone at the bench knew them; all where it had none.
    """
    if known is not None:
        versions = [v for v in versions if v.entry <= known] or versions
    begun = [v for v in versions if v.since is None or v.since <= moment]
    if begun:
        return max(begun, key=lambda v: (v.since is not None, v.since or moment))
    return min(versions, key=lambda v: v.since or moment)


def condition_of_parts(characteristic: Characteristic, parts: Iterable[tuple[str, str | None]]) -> str | None:
    """`new` or `reused`: the condition of the parts the characteristic depends on, given (kind, condition).

    Any re-used part makes it re-used, since worn parts read differently; reclaimed parts count as new. None when
    the sheet names no parts.
    """
    if not characteristic.parts:
        return None
    conditions = {condition for kind, condition in parts if kind in characteristic.parts}
    return "reused" if "reused" in conditions else "new"
