"""What a unit read when it came back, beside what it read when it left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qclog.domain.sheets.casetypes import Characteristic
from qclog.services.series.series import Series


@dataclass(frozen=True, slots=True)
class Change:
    """One characteristic as built and as received, in its unit; `received_in` is the job it was read in."""

    characteristic: Characteristic
    built: float
    received: float
    received_in: str
    built_gauge: str
    received_gauge: str

    @property
    def change(self) -> float:
        """Received less built."""
        return self.received - self.built

    @property
    def remark(self) -> str:
        """What to bear in mind when the two are compared."""
        if self.built_gauge and self.received_gauge and self.built_gauge != self.received_gauge:
            return f"two gauges: {self.built_gauge}, then {self.received_gauge}"
        return f"{self.received_gauge} both times" if self.received_gauge else ""


def compare_as_received(
    as_built: Sequence[Series], as_now: Sequence[Series], job: str, next_visit: str | None
) -> tuple[Change, ...]:
    """What was read as the job came back, or as found in the same case's next visit, against the job's last reading as
    the log stood when it left (`as_built`), so that a later correction never passes for what left.

    A characteristic that was forced by choice of shim is compared too: what it has become is the question.
    """
    found = []
    then = {series.characteristic.code: series for series in as_built}
    for series in as_now:
        rows = series.rows.filter(pl.col("value").is_not_nan())
        before = then.get(series.characteristic.code, series).rows.filter(pl.col("value").is_not_nan())
        built = _last(before.filter((pl.col("job") == job) & pl.col("stage").is_in(["trial", "final"])))
        received = _last(rows.filter((pl.col("job") == job) & (pl.col("stage") == "return")))
        if received is None and next_visit is not None:
            received = _last(rows.filter((pl.col("job") == next_visit) & (pl.col("stage") == "as_found")))
        if built is not None and received is not None:
            found.append(
                Change(
                    series.characteristic,
                    built["value"],
                    received["value"],
                    received["job"],
                    built["gauge"] or "",
                    received["gauge"] or "",
                )
            )
    return tuple(found)


def _last(rows: pl.DataFrame) -> dict[str, Any] | None:
    if rows.is_empty():
        return None
    finals = rows.filter(pl.col("stage") == "final")
    return (finals if len(finals) else rows).row(-1, named=True)
