"""A reading against its own kind: where it stands among those before it."""

from __future__ import annotations

import polars as pl

from qclog.domain.casetypes import Characteristic
from qclog.services import sheets
from qclog.services.capture import Place, Taken
from qclog.services.series import read_series
from qclog.store.log import Log

FEWEST = 5


def characteristic_of(log: Log, place: Place) -> Characteristic:
    """The characteristic of a place, by the sheet in force now."""
    with log.reading() as use:
        job = use.rows("job_by_id", job=place.job)[0]
        return sheets.latest(use, job["case_type"]).characteristic(place.characteristic)


def standing(log: Log, taken: Taken) -> str:
    """`highest of 112` among units of the same group at this stage; empty when it is ordinary or there are few.

    The group is the same case type, stage, new or re-used parts, machined or not; the unit counts itself.
    """
    if taken.said.kind in ("word", "none"):
        return ""
    with log.reading() as use:
        case_type = use.rows("job_by_id", job=taken.place.job)[0]["case_type"]
    rows = read_series(log, case_type, taken.place.characteristic).rows
    me = rows.filter((pl.col("job") == taken.place.job) & (pl.col("stage") == taken.place.stage))
    if me.is_empty():
        return ""
    mine = me.row(0, named=True)
    peers = rows.filter(
        (pl.col("stage") == mine["stage"])
        & (pl.col("machined") == mine["machined"])
        & pl.col("condition").eq_missing(pl.lit(mine["condition"], dtype=pl.String))
        & pl.col("value").is_not_nan()
    )
    return place_among(peers["value"], mine["value"])


def place_among(values: pl.Series, value: float) -> str:
    """`highest of 112`, `2nd lowest of 30`, `ordinary among 112`; empty among fewer than FEWEST."""
    n = len(values)
    if n < FEWEST:
        return ""
    above, below = int((values > value).sum()), int((values < value).sum())
    equal = n - above - below
    for beyond, side in ((above, "highest"), (below, "lowest")):
        if equal < n / 2 and beyond < max(1, round(n * 0.03)) and beyond < 3:
            shared = "shared " if equal > 1 else ""
            return f"{shared}{('', '2nd ', '3rd ')[beyond]}{side} of {n}"
    return f"ordinary among {n}"
