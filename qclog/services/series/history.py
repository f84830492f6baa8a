"""A reading against its own kind: where it stands among those before it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qclog.domain import stored
from qclog.domain.sheets.casetypes import Characteristic, condition_of_parts
from qclog.measures.derivation import NOTHING, over_places
from qclog.measures.intervals import as_range, drawn_at, drawn_column, ends_of
from qclog.services.jobs import jobs
from qclog.services.jobs.capture import Taken
from qclog.services.jobs.jobs import Story
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
        rows = use.rows(
            "readings_at_stage",
            stored.ReadingAtStage,
            case_type=code,
            characteristic=place.characteristic,
            stage=place.stage,
        )
        kin = use.rows("jobs_of_type", stored.Job, case_type=code)
        fitted = use.rows("parts_of_type", stored.Part, case_type=code)
    by_job: dict[str, list[stored.ReadingAtStage]] = {}
    for row in rows:
        by_job.setdefault(row.job, []).append(row)
    parts: dict[str, list[tuple[str, str | None]]] = {}
    for part in fitted:
        parts.setdefault(part.job, []).append((part.part, part.condition))
    characteristic = story.sheet.characteristic(place.characteristic)
    own = _group_of(story, taken)
    others = [
        value
        for row in kin
        if row.job in by_job
        and row.job != place.job
        and (
            row.machining_batch is not None,
            condition_of_parts(characteristic, parts.get(row.job, ())),
        )
        == own
        and (value := _drawn(characteristic, by_job[row.job])) is not None
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
    )
    return _among(others.select(value=drawn_column())["value"].drop_nulls().to_list(), story, taken)


def _group_of(story: Story, taken: Taken) -> tuple[bool, str | None]:
    """Whether the job's case was machined, and the condition of the parts that the reading depends on."""
    parts = [(p.part, p.condition) for p in story.parts]
    characteristic = story.sheet.characteristic(taken.place.characteristic)
    return story.job.machining_batch is not None, condition_of_parts(characteristic, parts)


def _among(others: Sequence[float], story: Story, taken: Taken) -> str:
    place = taken.place
    own = [
        told.row
        for told in story.readings
        if told.row.counts and (told.row.characteristic, told.row.stage) == (place.characteristic, place.stage)
    ]
    value = _drawn(story.sheet.characteristic(place.characteristic), own)
    return "" if value is None else place_among([*others, value], value)


def _drawn(characteristic: Characteristic, rows: Sequence[stored.ReadingAtStage | stored.JobReading]) -> float | None:
    """Where the readings of one job at one stage are drawn; None where nothing is known."""
    places = dict.fromkeys(characteristic.positions or ("",), NOTHING)
    places |= {r.position: worth for r in rows if (worth := as_range(r.low, r.high)) is not None}
    return drawn_at(*ends_of(over_places(characteristic, places)))


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
