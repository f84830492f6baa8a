"""A reading against its own kind: where it stands among those before it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean
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
    if taken.said.kind in ("word", "none"):
        return ""
    place = taken.place
    with log.reading() as use:
        story = jobs.tell(log, place.job)
        code = story.sheet.code
        rows = use.rows("readings_at_stage", case_type=code, characteristic=place.characteristic, stage=place.stage)
        kin = use.rows("jobs_of_type", case_type=code)
        fitted = use.rows("parts_of_type", case_type=code)
    values: dict[str, list[float]] = {}
    for row in rows:
        if (value := drawn_at(row["low"], row["high"])) is not None:
            values.setdefault(row["job"], []).append(value)
    parts: dict[str, list[tuple[str, str | None]]] = {}
    for part in fitted:
        parts.setdefault(part["job"], []).append((part["part"], part["condition"]))
    characteristic = story.sheet.characteristic(place.characteristic)
    own = _group_of(story, taken)
    others = [
        fmean(values[row["job"]])
        for row in kin
        if row["job"] in values
        and row["job"] != place.job
        and (
            row["machining_batch"] is not None,
            condition_of_parts(characteristic, parts.get(row["job"], ())),
        )
        == own
    ]
    return _among(others, story, taken)


def standing_in(rows: pl.DataFrame, story: Story, taken: Taken) -> str:
    """The same from `rows` of the characteristic's series, which may be older than the reading just taken."""
    import polars as pl

    if taken.said.kind in ("word", "none"):
        return ""
    place = taken.place
    machined, condition = _group_of(story, taken)
    others = rows.filter(
        (pl.col("job") != place.job)
        & (pl.col("stage") == place.stage)
        & (pl.col("machined") == machined)
        & pl.col("condition").eq_missing(pl.lit(condition, dtype=pl.String))
        & pl.col("value").is_not_nan()
    )["value"]
    return _among(others.to_list(), story, taken)


def _group_of(story: Story, taken: Taken) -> tuple[bool, str | None]:
    """Whether the job's case was machined, and the condition of the parts that the reading depends on."""
    parts = [(p["part"], p["condition"]) for p in story.parts]
    characteristic = story.sheet.characteristic(taken.place.characteristic)
    return story.job["machining_batch"] is not None, condition_of_parts(characteristic, parts)


def _among(others: Sequence[float], story: Story, taken: Taken) -> str:
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
    value = fmean(mine)
    return place_among([*others, value], value)


def drawn_at(low: float | None, high: float | None) -> float | None:
    """The number that stands for an interval on a chart, as `series` draws it: its middle; its one known end; half the
    smallest leaf where none enters.
    """
    if low is None:
        return None if high is None else high / 2 if high > 0 else high
    return low if high is None else (low + high) / 2


def place_among(values: Sequence[float], value: float) -> str:
    """`highest of 112`, `2nd lowest of 30`, `ordinary among 112`; empty among fewer than FEWEST."""
    n = len(values)
    if n < FEWEST:
        return ""
    above, below = sum(v > value for v in values), sum(v < value for v in values)
    equal = n - above - below
    for beyond, side in ((above, "highest"), (below, "lowest")):
        if equal < n / 2 and beyond < max(1, round(n * 0.03)) and beyond < 3:
            shared = "shared " if equal > 1 else ""
            return f"{shared}{('', '2nd ', '3rd ')[beyond]}{side} of {n}"
    return f"ordinary among {n}"
