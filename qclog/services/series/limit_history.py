"""The limits of a characteristic through the versions of its sheet: what was in force when, and who entered it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from qclog.domain import stored
from qclog.services.keeping.sheets import parsed
from qclog.services.series.case_chart import CaseChart
from qclog.store.log import Log
from qclog.words.numbers import limits_text


@dataclass(frozen=True, slots=True)
class LimitsThen:
    """One version's limits in words; `since` (UTC) None: from the beginning."""

    version: str
    since: datetime | None
    limits: str
    by: str


def history_of(log: Log, chart: CaseChart) -> tuple[LimitsThen, ...]:
    """Every version of the sheet, the oldest first, with its limits for the chart's characteristic, stage and parts."""
    with log.reading() as use:
        rows = use.rows("sheets_of", stored.SheetOfType, case_type=chart.sheet.code)
    found = []
    for row in rows:
        sheet = parsed(row.text)
        mine = next((c for c in sheet.characteristics if c.code == chart.characteristic.code), None)
        chosen = mine.limit_set(chart.group.stage, chart.group.condition) if mine is not None else None
        said = "" if chosen is None or mine is None else f"{limits_text(chosen[1])} {mine.unit}".strip()
        found.append(LimitsThen(row.version, row.since, said, row.by))
    return tuple(found)
