"""A reading against its own kind: where it stands among those before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qclog.domain.casetypes import condition_of_parts
from qclog.services import jobs
from qclog.services.capture import Taken
from qclog.services.jobs import Story
from qclog.store.log import Log

if TYPE_CHECKING:
    import polars as pl


FEWEST = 5


def standing(log: Log, taken: Taken) -> str:
    """`highest of 112` among units of the same group at this stage; empty when it is ordinary or there are few.

    The group is the same case type, stage, new or re-used parts, machined or not; the unit counts itself.
    """
    from qclog.services.series import read_series  # which loads polars and numpy

    with log.reading():
        story = jobs.tell(log, taken.place.job)
        return standing_in(read_series(log, story.sheet.code, taken.place.characteristic).rows, story, taken)


def standing_in(rows: pl.DataFrame, story: Story, taken: Taken) -> str:
    """The same from `rows` of the characteristic's series, which may be older than the reading just taken."""
    import polars as pl

    if taken.said.kind in ("word", "none"):
        return ""
    place = taken.place
    mine = [
        value
        for told in story.readings
        if told.row["counts"]
        and (told.row["characteristic"], told.row["stage"]) == (place.characteristic, place.stage)
        and (value := drawn_at(told.row["low"], told.row["high"])) is not None
    ]
    if not mine:
        return ""
    parts = [(p["part"], p["condition"]) for p in story.parts]
    condition = condition_of_parts(story.sheet.characteristic(place.characteristic), parts)
    others = rows.filter(
        (pl.col("job") != place.job)
        & (pl.col("stage") == place.stage)
        & (pl.col("machined") == (story.job["machining_batch"] is not None))
        & pl.col("condition").eq_missing(pl.lit(condition, dtype=pl.String))
        & pl.col("value").is_not_nan()
    )["value"]
    value = sum(mine) / len(mine)
    return place_among(pl.concat([others, pl.Series("value", [value])]), value)


def drawn_at(low: float | None, high: float | None) -> float | None:
    """The number that stands for an interval on a chart, as `series` draws it: its middle; its one known end; half the
    smallest leaf where none enters.
    """
    if low is None:
        return None if high is None else high / 2 if high > 0 else high
    return low if high is None else (low + high) / 2


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
