"""A closed finding opens again when the same trouble shows after it was closed, and not otherwise: gauges, worn cases,
digit preference. The workshops are invented, their faults of known size (tests/benchmarks/workshops.py).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from typing import Any

import polars as pl
import pytest

from qclog.domain.findings import Finding, Note
from qclog.services.watch.finding_life import Followed, follow
from qclog.watch.findings import find
from qclog.watch.observations import COLUMNS, TICKS, Observations
from tests.benchmarks.workshops import Workshop, build

SEED = 205


@cache
def shop() -> Workshop:
    return build(SEED)


@cache
def found() -> tuple[Finding, ...]:
    return find(shop().observations)


def the(cause: str) -> Finding:
    return next(f for f in found() if f.cause == cause)


def closed(
    finding: Finding, moment: datetime, observations: Observations, findings: tuple[Finding, ...] = ()
) -> Followed:
    note = Note(finding.id, "closed", "Heron", moment, "it was off", "it was put right")
    first = observations.rows.group_by("job").agg(pl.col("taken_at").min())
    opened = dict(first.rows()) if len(first) else {}
    return next(f for f in follow(findings or found(), [note], observations, opened) if f.id == finding.id)


def moments(finding: Finding) -> list[datetime]:
    rows = shop().observations.rows
    mine = rows.filter(
        pl.col("job").is_in(list(finding.jobs)) & pl.col("characteristic").is_in(list(finding.characteristics))
    )
    return mine["taken_at"].sort().to_list()


def test_a_gauge_closed_too_early_opens_again() -> None:
    gauge = the("gauge")
    times = moments(gauge)
    middle = times[len(times) // 2]
    mine = closed(gauge, middle, shop().observations)
    assert (mine.state, mine.stands) == ("open", True)
    after = set(shop().observations.rows.filter(pl.col("taken_at") > middle)["job"])
    assert set(mine.returned) <= after & set(gauge.jobs)


def test_a_gauge_put_right_stays_closed() -> None:
    gauge = the("gauge")
    mine = closed(gauge, moments(gauge)[-1] + timedelta(days=1), shop().observations)
    assert (mine.state, mine.returned) == ("closed", ())


def worn_after(moment: datetime, share: float) -> Observations:
    """The readings with only `share` of the wear in units after `moment`."""
    worn = the("worn casing")
    o = shop().observations
    more = pl.lit(0.0)
    for case_type, code, stage, _, size, _ in worn.sizes:
        here = (pl.col("case_type") == case_type) & (pl.col("characteristic") == code) & (pl.col("stage") == stage)
        late = here & (pl.col("taken_at") > moment) & (pl.col("rebuild") > 1)
        more = more + pl.when(late).then((1 - share) * size * (pl.col("rebuild") - 1)).otherwise(0.0)
    return Observations(
        o.rows.with_columns(value=pl.col("value") - more), o.lots, o.gauges, o.events, o.characteristics, o.ticks
    )


def test_worn_casings_closed_and_still_worn_open_again() -> None:
    worn = the("worn casing")
    times = moments(worn)
    mine = closed(worn, times[len(times) // 2], shop().observations)
    assert mine.stands
    assert set(mine.returned) <= set(worn.jobs)


def test_worn_casings_that_are_sleeved_since_stay_closed() -> None:
    worn = the("worn casing")
    times = moments(worn)
    middle = times[len(times) // 2]
    assert closed(worn, middle, worn_after(middle, 0.0)).state == "closed"


def ticks(shares: dict[str, float], n: int, start: datetime) -> pl.DataFrame:
    """`n` feeler readings of each person, of which the share is on even leaves, spread evenly."""
    rows = [
        (who, "T0", "c0", f"J{i:03}", start + timedelta(hours=i), int((i + 1) * share) > int(i * share))
        for who, share in shares.items()
        for i in range(n)
    ]
    return pl.DataFrame(rows, schema=TICKS, orient="row").sort("taken_at")


def only(leaves: pl.DataFrame) -> Observations:
    gauges = {"job": pl.String, "characteristic": pl.String, "stage": pl.String, "gauge": pl.String}
    events: dict[str, Any] = {"gauge": pl.String, "since": pl.Datetime("us"), "until": pl.Datetime("us")}
    about: dict[str, Any] = {"case_type": pl.String, "characteristic": pl.String, "unit": pl.String}
    return Observations(
        pl.DataFrame(schema=COLUMNS),
        pl.DataFrame(schema={"job": pl.String, "lot": pl.String}),
        pl.DataFrame(schema=gauges),
        pl.DataFrame(schema=events),
        pl.DataFrame(schema=about | {"step": pl.Float64, "matters": pl.Float64}),
        leaves,
    )


START = datetime(2026, 1, 5, 8)
LATER = START + timedelta(days=30)


@pytest.mark.parametrize(("share", "state"), [(0.9, "open"), (0.5, "closed")])
def test_a_digit_preference_opens_again_only_while_it_lasts(share: float, state: str) -> None:
    early = ticks({"Ash": 0.9, "Birch": 0.5}, 120, START)
    late = ticks({"Ash": share, "Birch": 0.5}, 40, LATER + timedelta(days=1))
    observations = only(pl.concat([early, late]))
    findings = find(observations)
    mine = next(f for f in findings if f.level == "Ash")
    assert "even" in mine.id
    assert closed(mine, LATER, observations, findings).state == state
