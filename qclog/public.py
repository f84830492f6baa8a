"""What other programs may rely on: a log opened to be read, its series, limits and findings."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from qclog.errors import LogError

if TYPE_CHECKING:
    import polars as pl

    from qclog.domain.findings import Finding
    from qclog.store.log import Log


@dataclass(frozen=True, slots=True)
class ControlLimits:
    """The control limits of one group of comparable units, in the characteristic's `unit`.

    `group` says which units in words; `n` how many. `centre`, `lower`, `upper` and `sigma` are None where there are
    too few, or none can be told; `method` is how the spread was found, `notes` what to bear in mind.
    """

    group: str
    unit: str
    n: int
    centre: float | None
    lower: float | None
    upper: float | None
    sigma: float | None
    method: str | None
    notes: tuple[str, ...]


class OpenLog:
    """A log that is read. Nothing is held open between calls, so others can use it meanwhile."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def case_types(self) -> list[str]:
        """The codes of every case type that has a sheet."""
        from qclog.services.keeping.sheets import overview

        return [one.sheet.code for one in overview(self._log())]

    def characteristics(self, case_type: str) -> list[str]:
        """The codes of what is read or worked out in numbers on a case type. UnknownNameError if there is none such."""
        from qclog.services.keeping.sheets import latest_of

        return [c.code for c in latest_of(self._log(), case_type).characteristics if not c.in_words]

    def series(self, case_type: str, characteristic: str) -> pl.DataFrame:
        """Every job's value of a characteristic: one row a job and stage, in time order.

        Columns: job, stage, taken_at (UTC), entry, value (in the characteristic's unit; NaN where it is open on a side
        or none was taken), low, high (null: open), positions (how many were read), gauge, technician, machining_batch,
        case_serial, rebuild, variant, dispatched, machined, condition (new, reused or null), verdict.

        Raises UnknownNameError for a case type or characteristic that is not in the log.
        """
        from qclog.services.series.series import read_series

        return read_series(self._log(), case_type, characteristic).rows

    def limits(
        self,
        case_type: str,
        characteristic: str,
        *,
        stage: str | None = None,
        condition: str | None = None,
        machined: bool | None = None,
    ) -> ControlLimits:
        """The control limits of one group: what is not chosen falls to the largest group that fits.

        Raises UnknownNameError as `series` does; InputError for a group without readings.
        """
        from qclog.services.series.case_chart import chart_case

        chart = chart_case(self._log(), case_type, characteristic, stage=stage, condition=condition, machined=machined)
        drawn = chart.drawn
        return ControlLimits(
            group=chart.group.words,
            unit=chart.characteristic.unit,
            n=len(chart.rows),
            centre=drawn.centre if drawn else None,
            lower=drawn.lower if drawn else None,
            upper=drawn.upper if drawn else None,
            sigma=drawn.sigma if drawn else None,
            method=drawn.method if drawn else None,
            notes=chart.warnings,
        )

    def findings(self) -> tuple[Finding, ...]:
        """Every finding that the readings show now, the strongest first (`qclog.domain.findings.Finding`)."""
        from qclog.services.watch.finding_life import watch

        return tuple(f.finding for f in watch(self._log()).followed if f.finding is not None and f.stands)

    def _log(self) -> Log:
        from qclog.store.log import Log

        return Log(self.path)


def open_log(path: str | PathLike[str]) -> OpenLog:
    """The log in the file `path`. LogError if there is none."""
    found = Path(path)
    if not found.exists():
        raise LogError("there is no log here", field="path", found=found, hint="name the file that qclog was given")
    return OpenLog(found)
