"""Each value of a job among others of its kind: where it stood when it was read, and where it stands now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qclog.domain.sheets.casetypes import Characteristic
from qclog.services.series.history import place_among
from qclog.services.series.series import Series


@dataclass(frozen=True, slots=True)
class Rank:
    """A place counted from the lowest; `first` and `last` differ where several are equal. `n` counts itself."""

    first: int
    last: int
    n: int
    words: str

    @property
    def text(self) -> str:
        """`3 of 41`, `3 to 5 of 41`."""
        place = f"{self.first}" if self.first == self.last else f"{self.first} to {self.last}"
        return f"{place} of {self.n}"


@dataclass(frozen=True, slots=True)
class Placed:
    """One value of a job with its places among its kind: case type, stage, parts new or re-used, machined or not.

    `forced`: it was set by choice of shim, so its place says little about the case.
    """

    characteristic: Characteristic
    stage: str
    value: float
    then: Rank
    now: Rank
    forced: bool


def place_all(every: Sequence[Series], job: str, then: Sequence[Series] = ()) -> tuple[Placed, ...]:
    """Every value in numbers that a job has, in the order of the sheet.

    `then`: the same series as they stood when the job left. Its values are those, and its places then are among what
    was in the log by then; a correction made since moves neither.
    """
    later = {series.characteristic.code: series for series in every}
    placed = []
    for series in then or every:
        now = later.get(series.characteristic.code, series)
        mine = series.rows.filter((pl.col("job") == job) & pl.col("value").is_not_nan())
        for row in mine.iter_rows(named=True):
            before = (pl.col("taken_at") < row["taken_at"]) | (
                (pl.col("taken_at") == row["taken_at"]) & (pl.col("entry") <= row["entry"])
            )
            others = pl.col("job") != job
            placed.append(
                Placed(
                    series.characteristic,
                    row["stage"],
                    row["value"],
                    _rank(_kin(series, row).filter(before & others)["value"], row["value"]),
                    _rank(_kin(now, row).filter(others)["value"], row["value"]),
                    row["stage"] in series.characteristic.forced_at,
                )
            )
    return tuple(placed)


def _kin(series: Series, row: Mapping[str, Any]) -> pl.DataFrame:
    """The values of the same kind as one row."""
    return series.rows.filter(
        (pl.col("stage") == row["stage"])
        & (pl.col("machined") == row["machined"])
        & pl.col("condition").eq_missing(pl.lit(row["condition"], dtype=pl.String))
        & pl.col("value").is_not_nan()
    )


def _rank(others: pl.Series, value: float) -> Rank:
    """The place of `value` with the `others`."""
    values = pl.concat([others, pl.Series(others.name, [value], others.dtype)])
    # Means over positions differ in the last bit, and are the same reading.
    near = 1e-9 * max(1.0, abs(value))
    below, above = int((values < value - near).sum()), int((values > value + near).sum())
    return Rank(below + 1, len(values) - above, len(values), place_among(values.to_list(), value))
