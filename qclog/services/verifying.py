"""Whether a log holds together: every statement in sql/checks/ must return no rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from qclog import resources
from qclog.store.log import Log


@dataclass(frozen=True, slots=True)
class Check:
    """One check and the rows that fail it."""

    name: str
    says: str
    rows: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Report:
    """All checks of a log."""

    checks: tuple[Check, ...]
    entries: int
    readings: int

    @property
    def sound(self) -> bool:
        """Whether no check found anything."""
        return not any(check.rows for check in self.checks)


def verify(log: Log) -> Report:
    """Run every check on the log."""
    files = sorted((resources.folder("sql") / "checks").glob("*.sql"))
    with log.reading() as use:
        checks = tuple(
            Check(file.stem, file.stem.replace("_", " "), use.rows(file.stem, folder="checks")) for file in files
        )
        entries = use.rows("revision")[0]["revision"]
        readings = use.rows("counts")[0]["readings"]
    return Report(checks, entries, readings)
