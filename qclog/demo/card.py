"""A job's card as it fills up: readings and parts, in the columns of the exchange tables."""

from __future__ import annotations

from dataclasses import dataclass, field

from qclog.demo import dates
from qclog.demo.gauges import Spoken
from qclog.demo.visits import Visit

STAND_OFF_STAGES = ("as_found", "trial", "final")
_ROOM_BETWEEN = 2.0  # minutes between readings


@dataclass(slots=True)
class Card:
    """What is written down in one visit."""

    visit: Visit
    readings: list[tuple[str, ...]] = field(default_factory=list)
    parts: list[tuple[str, ...]] = field(default_factory=list)
    stage: str = "as_found"
    technician: str = ""
    _day: int = 0
    _minutes: float = 0.0

    def begin(self, stage: str, day: int, minutes: float, technician: str = "") -> None:
        """Go on to a stage at a time of day."""
        self.stage, self._day, self._minutes = stage, day, minutes
        self.technician = technician or self.visit.technician

    def read(
        self,
        code: str,
        said: Spoken | str,
        *,
        position: str = "",
        gauge: str = "",
        conditions: str = "",
        note: str = "",
        attempt: int = 1,
        replaces: str = "",
        reason: str = "",
    ) -> None:
        """One reading; the next comes two minutes later."""
        text, unit = (said, "") if isinstance(said, str) else (said.text, said.unit)
        at = dates.write(dates.moment(self._day, self._minutes))
        self._minutes += _ROOM_BETWEEN
        self.readings.append(
            (
                self.visit.job, code, self.stage, position, str(attempt), text, unit, gauge, self.technician, at,
                conditions, note, replaces, reason,
            )
        )  # fmt: skip

    def part(
        self, part: str, lot: str = "", supplier: str = "", condition: str = "new", sub_assembly: str = ""
    ) -> None:
        """One part fitted."""
        self.parts.append((self.visit.job, part, lot, supplier, condition, sub_assembly))

    def has(self, stage: str) -> bool:
        """Whether an unfinished job has come as far as `stage`; a finished one has."""
        order = STAND_OFF_STAGES
        return not self.visit.open_at or order.index(stage) <= order.index(self.visit.open_at)
