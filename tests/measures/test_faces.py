"""A job's own page and the chart of its case type say the same of every reading, whatever the sheet and the readings.

Random sheets (places, what they amount to, formulas, limits) and random jobs (points, brackets, no leaf, the largest
leaf, nothing read) are worked out both ways: a job by itself, as the bench, the job page, sign-off and the papers do;
and as a column, as charts, limits, findings and traces do.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from qclog.domain import stored
from qclog.domain.sheets.casetypes import Characteristic, Limits, Sheet, Version
from qclog.measures.columns import judge_rows, version_numbers, work_out_rows
from qclog.measures.derivation import NOTHING, over_places
from qclog.measures.intervals import as_ends, ends_of
from qclog.measures.judging import INSIDE, NOT_JUDGED, WORST_FIRST, judge_interval, judge_reading, slack_of
from qclog.measures.results import work_out_all
from tests import stored_rows

PLACES = ("12", "3", "6", "9")
FORMULAS = ("b - mean(a)", "abs(b - a@3)", "spread(a)", "max(a) - 2 * b", "b * 3", "b - 0.89 * c")
ENDS = st.integers(0, 40).map(lambda n: n / 2)


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    low, high = sorted((draw(ENDS), draw(ENDS)))
    return draw(st.sampled_from([Limits(None, low, high), Limits(None, None, high), Limits(None, low, None)]))


@st.composite
def sheets(draw: st.DrawFn) -> Sheet:
    def characteristic(code: str, **more: Any) -> Characteristic:
        return Characteristic(code, code, "thou", 0.5, limits=(("any", draw(limits())),), **more)

    over = draw(st.sampled_from(["mean", "max", "min", "spread", "tilt"]))
    return Sheet(
        "XY-1",
        "A gearbox",
        "tractor",
        "1",
        (
            characteristic("a", positions=PLACES, over_positions=over),
            characteristic("b"),
            characteristic("c"),
            characteristic("d", formula=draw(st.sampled_from(FORMULAS))),
            characteristic("e", formula="d + b"),
        ),
    )


@st.composite
def readings(draw: st.DrawFn, job: str) -> list[stored.JobReading]:
    rows: list[stored.JobReading] = []
    for code, place in (*(("a", p) for p in PLACES), ("b", ""), ("c", "")):
        low, high = sorted((draw(ENDS), draw(ENDS)))
        kind = draw(st.sampled_from(["point", "bracket", "below", "above", "none", "absent"]))
        ends = {"point": (low, low), "bracket": (low, high), "below": (None, high), "above": (low, None)}
        if kind != "absent":
            ends_here = ends.get(kind, (None, None))
            rows.append(row(job, code, place, *ends_here, number=len(rows)))
    return rows


def row(job: str, code: str, place: str, low: float | None, high: float | None, number: int = 0) -> stored.JobReading:
    at = datetime(2026, 1, 1 + number)
    return stored_rows.reading(job, code, position=place, low=low, high=high, taken_at=at, entry=number)


SCHEMA = {"low": pl.Float64, "high": pl.Float64}
NO_PARTS: tuple[tuple[str, str | None], ...] = ()


def chart_rows(sheet: Sheet, code: str, all_readings: list[stored.JobReading]) -> dict[str, dict[str, Any]]:
    """What the chart has of one characteristic, by job."""
    frame = pl.DataFrame([r._asdict() for r in all_readings], schema_overrides=SCHEMA)
    characteristic = sheet.characteristic(code)
    rows = work_out_rows(sheet, characteristic, frame).with_columns(condition=pl.lit(None, dtype=pl.String))
    verdicts = judge_rows(characteristic, [Version(sheet, None)], rows, frame)
    return {r["job"]: r for r in rows.with_columns(verdict=verdicts).iter_rows(named=True)}


def same(one: float | None, other: float | None) -> bool:
    """Both open, or equal but for the rounding of doubles."""
    return one is other if one is None or other is None else math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-12)


@settings(max_examples=150)
@given(sheets(), st.data())
def test_a_job_and_its_chart_say_the_same(sheet: Sheet, data: st.DataObject) -> None:
    by_job = {job: data.draw(readings(job)) for job in ("J-1", "J-2", "J-3")}
    everything = [r for rows in by_job.values() for r in rows]
    if not everything:
        return
    charts = {c.code: chart_rows(sheet, c.code, everything) for c in sheet.characteristics}
    for job, rows in by_job.items():
        for result in work_out_all(sheet, rows, NO_PARTS):
            drawn = charts[result.characteristic.code].get(job)
            if not result.known:
                assert drawn is None or (drawn["low"], drawn["high"]) == (None, None)
                continue
            assert drawn is not None
            assert same(drawn["low"], result.low)
            assert same(drawn["high"], result.high)
            assert drawn["verdict"] == result.verdict.result
            assert math.isnan(drawn["value"]) == (result.value is None)
        for code in ("a", "b", "c"):
            own = [r for r in rows if r.characteristic == code]
            _compare_read(sheet.characteristic(code), own, charts[code].get(job))


def _compare_read(c: Characteristic, rows: list[stored.JobReading], drawn: dict[str, Any] | None) -> None:
    """A characteristic that is read: what the readings amount to, and the worst of what the bench said of each."""
    places = dict.fromkeys(c.positions or ("",), NOTHING)
    places |= {r.position: w for r in rows if (w := as_ends(r.low, r.high)) is not None}
    low, high = ends_of(over_places(c, places))
    if drawn is None:
        assert (low, high) == (None, None)
        return
    assert same(drawn["low"], low)
    assert same(drawn["high"], high)
    if not c.judged_whole:
        said = [
            judge_reading(c, stage="final", condition=None, low=r.low, high=r.high).result
            for r in rows
            if r.low is not None or r.high is not None
        ]
        worst = min(said, key=WORST_FIRST.index, default=NOT_JUDGED)
        assert drawn["verdict"] == worst


@settings(max_examples=300)
@given(limits(), st.lists(st.tuples(ENDS, ENDS, st.sampled_from("pbao")), min_size=1, max_size=8), st.booleans())
def test_judging_one_and_judging_many_are_the_same(
    asked: Limits, many: list[tuple[float, float, str]], nearly: bool
) -> None:
    import numpy as np

    from qclog.measures.judging import judge_columns

    off = 5e-9 if nearly else 0.0
    pairs = []
    for one, two, kind in many:
        low, high = sorted((one, two))
        pairs.append({"p": (low + off, low + off), "b": (low, high), "a": (low, None), "o": (None, high)}[kind])
    columns = (
        np.array([-np.inf if low is None else low for low, _ in pairs]),
        np.array([np.inf if high is None else high for _, high in pairs]),
    )
    together = judge_columns(*columns, asked, slack=slack_of(0.5))
    assert together.tolist() == [judge_interval(low, high, asked, slack=slack_of(0.5)) for low, high in pairs]


def test_a_recess_from_a_gap_that_no_leaf_enters_is_open_upward_on_every_screen() -> None:
    """The job page said 36.0, inside; the chart said 38.0, above the limit. A gap below 4 leaves it open."""
    top = (("any", Limits(None, None, 37.5)),)
    sheet = Sheet(
        "XY-1",
        "A gearbox",
        "tractor",
        "1",
        (
            Characteristic("pack", "Pack", "thou", 0.5),
            Characteristic("stand_off", "Stand-off", "thou", 1.0, gauge_kind="feeler"),
            Characteristic("recess", "Recess", "thou", 0.5, formula="pack - stand_off", limits=top),
        ),
    )
    rows = [row("J-1", "pack", "", 40.0, 40.0), row("J-1", "stand_off", "", None, 4.0)]
    (result,) = work_out_all(sheet, rows, NO_PARTS)
    drawn = chart_rows(sheet, "recess", rows)["J-1"]
    assert (result.low, result.high, result.value) == (36.0, None, None)
    assert (drawn["low"], drawn["high"]) == (36.0, None)
    assert result.verdict.result == drawn["verdict"] == "too close to call"


def test_no_leaf_at_one_place_and_too_much_at_the_other() -> None:
    """low exceeded high, and the chart said "6.5, above the workshop's limit". Each place has the limits to keep."""
    both = (("any", Limits(None, 4.0, 10.0)),)
    float_ = Characteristic("float", "Layshaft float", "thou", 1.0, positions=("front", "rear"), limits=both)
    sheet = Sheet("XY-1", "A gearbox", "tractor", "1", (float_,))
    rows = [row("J-1", "float", "front", None, 1.5), row("J-1", "float", "rear", 12.0, 13.0)]
    drawn = chart_rows(sheet, "float", rows)["J-1"]
    assert (drawn["low"], drawn["high"]) == (None, 7.25)
    bench = [judge_reading(float_, stage="final", condition=None, low=r.low, high=r.high).result for r in rows]
    assert bench == ["low", "high"]
    assert drawn["verdict"] == "high"


def test_a_hair_above_a_limit_is_the_same_everywhere() -> None:
    """10.000000005 against 10 was above at the bench and inside on the chart."""
    upper = (("any", Limits(None, None, 10.0)),)
    c = Characteristic("b", "B", "thou", 1.0, limits=upper)
    sheet = Sheet("XY-1", "A gearbox", "tractor", "1", (c,))
    value = 10.000000005
    drawn = chart_rows(sheet, "b", [row("J-1", "b", "", value, value)])["J-1"]
    assert drawn["verdict"] == judge_reading(c, stage="final", condition=None, low=value, high=value).result == INSIDE


@given(
    st.lists(
        st.tuples(st.datetimes(datetime(2025, 1, 1), datetime(2027, 1, 1)), st.integers(1, 9)), min_size=1, max_size=30
    )
)
def test_the_version_of_many_moments_is_that_of_each(asked: list[tuple[datetime, int]]) -> None:
    from qclog.domain.sheets.casetypes import version_at

    sheet = Sheet("XY-1", "A gearbox", "tractor", "1", ())
    for sinces in (
        [None, datetime(2025, 6, 1), datetime(2026, 1, 1)],
        [datetime(2026, 3, 1), None, datetime(2025, 2, 1)],
        [datetime(2026, 3, 1), datetime(2025, 2, 1)],
    ):
        versions = [Version(sheet, since, entry) for entry, since in zip((5, 2, 8), sinces, strict=False)]
        moments = pl.Series([m for m, _ in asked], dtype=pl.Datetime("us"))
        numbers = version_numbers(versions, moments, pl.Series([entry for _, entry in asked]))
        assert [versions[n] for n in numbers] == [version_at(versions, m, entry) for m, entry in asked]
