"""The stretches of a chart between recorded changes, each with its own limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from qclog.domain.findings import Change
from qclog.domain.sheets.casetypes import Characteristic
from qclog.services.keeping.changes import changes_of, eras
from qclog.services.series.case_limits import CaseLimits, set_limits
from qclog.stats.charts.limits import IndividualsLimits


@dataclass(frozen=True, slots=True)
class Era:
    """The units between two changes: the change that began it (None for the first), the place of its first unit in
    the chart's rows, how many units, and their own limits.
    """

    change: Change | None
    first: int
    n: int
    found: CaseLimits

    @property
    def limits(self) -> IndividualsLimits | None:
        """The control limits; None with fewer than two units."""
        return self.found.limits

    @property
    def drawn(self) -> IndividualsLimits | None:
        """The control limits, when there are enough units for them."""
        return self.limits if self.limits is not None and self.limits.enough else None


def split(
    changes: Sequence[Change], case_type: str, characteristic: Characteristic, rows: pl.DataFrame
) -> tuple[pl.DataFrame, tuple[Era, ...]]:
    """The rows with a column `era`, and each stretch in time order; no stretches where nothing changed.

    A stretch without a unit is kept, so that old units never pass for new ones. Rows must be in time order.
    """
    own = changes_of(changes, case_type, characteristic.code, rows)
    rows = rows.with_columns(eras(rows, own))
    if not own:
        return rows, ()
    begun = {change.since: change for change in own}
    stretches = []
    for number, change in enumerate([None, *(begun[since] for since in sorted(begun))]):
        part = rows.filter(pl.col("era") == number)
        first = int((rows["era"] < number).sum())
        stretches.append(Era(change, first, len(part), set_limits(characteristic, part)))
    return rows, tuple(stretches)
