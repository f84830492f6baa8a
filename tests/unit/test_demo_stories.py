"""What was planted in the sample workshop shows in the imported log as trade.md section 8.5 says, and 8.6 is answered.

Expected figures are those of the trade dossier, sections 4.5-4.6 and 8.4-8.6, invented for the sample; the two
p-values are worked out by SciPy (scipy.stats) from the counts.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats
from scipy.stats import fisher_exact

from qclog import resources
from qclog.demo import Workshop, build_workshop, dates
from qclog.services.exchange.import_folder import import_folder
from qclog.services.series.series import read_series
from qclog.store.log import Log, Submission

FAR = 0.5  # thou: how far a planted mean may lie from its figure by chance, two or more standard errors


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return build_workshop()


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Log:
    log = Log(Path(tmp_path_factory.mktemp("demo")) / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), Submission("demo", "demo", "sample"))
    return log


def _frame(log: Log, query: str) -> pl.DataFrame:
    with log.reading() as use:
        return use.frame(query)


@pytest.fixture(scope="module")
def jobs(log: Log) -> pl.DataFrame:
    return _frame(log, "jobs_all")


@pytest.fixture(scope="module")
def readings(log: Log) -> pl.DataFrame:
    """Every reading as said, with what was understood (low, high) in the characteristic's own unit."""
    keys = ["job", "characteristic", "stage", "position", "attempt"]
    with log.reading() as use:
        said = use.frame("readings_all").with_columns(pl.col("position").fill_null(""))
        read = use.frame_with("readings_of_jobs", "incoming_jobs", said.select("job").unique())
    read = read.select(*keys, "low", "high").cast({"attempt": said.schema["attempt"]})
    return said.join(read, on=keys, how="left", validate="1:1")


@pytest.fixture(scope="module")
def parts(log: Log) -> pl.DataFrame:
    return _frame(log, "parts_all")


@pytest.fixture(scope="module")
def comebacks(log: Log) -> pl.DataFrame:
    return _frame(log, "comebacks_all")


def _rows(log: Log, case_type: str, code: str, stage: str = "final") -> pl.DataFrame:
    return read_series(log, case_type, code).rows.filter(pl.col("stage") == stage)


def _of(rows: pl.DataFrame, chosen: tuple[str, ...]) -> pl.DataFrame:
    return rows.filter(pl.col("job").is_in(list(chosen)))


def _without(rows: pl.DataFrame, *groups: tuple[str, ...]) -> pl.DataFrame:
    return rows.filter(~pl.col("job").is_in([job for group in groups for job in group]))


def _mean(rows: pl.DataFrame) -> float:
    return float(rows["value"].to_numpy().mean())


def _sd(rows: pl.DataFrame) -> float:
    return float(rows["value"].to_numpy().std(ddof=1))


# Story 1


def test_batch_m07_is_four_thou_deep_and_only_recess_and_pack_show_it(log: Log, workshop: Workshop) -> None:
    planted = workshop.planted
    for stage in ("trial", "final"):
        recess = _rows(log, "LR-2", "recess", stage).filter(pl.col("machined"))
        deep, others = _of(recess, planted.deep_bore), _without(recess, planted.deep_bore, planted.dropped_gauge)
        assert _mean(deep) - _mean(others) == pytest.approx(4.0, abs=FAR + 0.3)  # 0.3: it was summer
        assert (_mean(deep) - _mean(others)) / (_sd(others) / np.sqrt(8)) > 7  # "z about 8"
    pack = _rows(log, "LR-2", "shim_pack").filter(pl.col("machined"))
    others = _without(pack, planted.deep_bore, planted.dropped_gauge)
    assert _mean(_of(pack, planted.deep_bore)) - _mean(others) == pytest.approx(4.0, abs=FAR + 0.3)
    closure = _rows(log, "LR-2", "closure")
    assert _mean(_of(closure, planted.deep_bore)) == pytest.approx(0.0, abs=FAR)


def test_final_stand_off_chart_would_not_have_shown_m07(log: Log, workshop: Workshop) -> None:
    """Question 2 of trade.md 8.6."""
    stand_off = _rows(log, "LR-2", "stand_off")
    deep = _of(stand_off, workshop.planted.deep_bore)
    assert _mean(deep) == pytest.approx(16.0, abs=FAR)
    others = _without(stand_off, workshop.planted.deep_bore)
    out = [[int(rows["verdict"].is_in(["low", "high"]).sum()), len(rows)] for rows in (deep, others)]
    assert fisher_exact([[n, of - n] for n, of in out]).pvalue > 0.3, (
        out
    )  # places out of limits: no more than elsewhere
    assert abs(_mean(deep) - _mean(others)) < 3 * _sd(others) / np.sqrt(8)
    recess = _without(_rows(log, "LR-2", "recess"), workshop.planted.deep_bore, workshop.planted.worn_case)
    assert _sd(others) < 0.6 * _sd(recess.filter(~pl.col("machined")))  # trade.md 8.4: 0.52 against 1.34


def test_m07_follows_no_technician_and_no_gauge(jobs: pl.DataFrame, readings: pl.DataFrame, workshop: Workshop) -> None:
    """Question 1 of trade.md 8.6: the units of M07; Ash fitted five of the eight."""
    shared = jobs.filter((pl.col("machining_batch") == "M07") & (pl.col("case_type") == "LR-2"))
    assert set(shared["job"]) == set(workshop.planted.deep_bore)
    fitted = readings.filter(
        pl.col("job").is_in(list(workshop.planted.deep_bore)), pl.col("characteristic") == "stand_off",
        pl.col("stage") == "trial", pl.col("position") == "12",
    )  # fmt: skip
    assert Counter(fitted["technician"]) == {"Ash": 5, "Birch": 2, "Elm": 1}
    assert fitted["gauge"].n_unique() >= 4
    same_days = jobs.filter(
        pl.col("opened").is_between(shared["opened"].min(), shared["opened"].max()),
        pl.col("case_type") == "LR-2", pl.col("machining_batch").is_not_null(), pl.col("machining_batch") != "M07",
    )  # fmt: skip
    assert len(same_days) >= 3


# Story 2


def test_worn_case_drifts_by_rebuild(log: Log, jobs: pl.DataFrame, workshop: Workshop) -> None:
    planted = workshop.planted
    same = jobs.filter(pl.col("case_serial") == planted.worn_serial).sort("opened")
    assert tuple(same["job"]) == planted.worn_case
    assert same["rebuild"].to_list() == [1, 2, 3]
    assert same["machining_batch"].is_null().all()
    recess = _of(_rows(log, "LR-2", "recess"), planted.worn_case)["value"].to_list()
    assert recess == pytest.approx([25, 27, 30], abs=0.9)
    bore = _of(_rows(log, "LR-2", "output_bore", "as_found"), planted.worn_case)
    assert bore["value"].to_list() == pytest.approx([80.004, 80.015, 80.041], abs=0.005)
    assert bore["verdict"].to_list()[-1] == "high"
    flatness = _of(_rows(log, "LR-2", "aft_face_flatness", "as_found"), planted.worn_case)["value"].to_list()
    assert flatness == sorted(flatness)
    tilt = _of(_rows(log, "LR-2", "stand_off_tilt"), planted.worn_case)["value"].to_list()
    assert tilt[2] > max(2.0, tilt[0])


# Story 3


def test_thick_gasket_shows_only_in_torque_and_the_gasket_itself(
    log: Log, parts: pl.DataFrame, readings: pl.DataFrame, workshop: Workshop
) -> None:
    planted = workshop.planted
    carried = parts.filter((pl.col("part") == "output_gasket") & (pl.col("lot") == "G-31"))
    assert set(carried["job"]) == set(planted.thick_gasket)
    assert len(carried) == 24  # question 4 of trade.md 8.6
    measured = readings.filter(
        (pl.col("characteristic") == "gasket_free") & pl.col("job").is_in(list(planted.thick_gasket))
    )
    assert set(measured["job"]) == set(planted.thick_gasket_measured)
    assert measured["job"].n_unique() == 6
    assert measured["low"].to_numpy().mean() == pytest.approx(16.4, abs=0.15)
    others = readings.filter((pl.col("characteristic") == "gasket_free") & ~pl.col("job").is_in(list(carried["job"])))
    lr2 = others.filter(pl.col("low") < 17)["low"].to_numpy()
    assert lr2.mean() == pytest.approx(13.5, abs=0.2)
    for code in ("recess", "shim_pack", "stand_off", "closure", "stand_off_spread"):
        rows = _without(
            _rows(log, "LR-2", code), planted.deep_bore, planted.dropped_gauge, planted.worn_case, (planted.swarf,)
        ).filter(~pl.col("machined"))
        thick, rest = _of(rows, planted.thick_gasket), _without(rows, planted.thick_gasket)
        p = stats.ttest_ind(thick["value"].to_numpy(), rest["value"].to_numpy(), equal_var=False).pvalue
        assert p > 0.01, code
    torque = _rows(log, "LR-2", "turning_torque").filter(pl.col("condition") == "new")
    thick = _without(_of(torque, planted.thick_gasket), planted.dropped_gauge)
    rest = _without(torque, planted.low_pinch)
    assert _mean(thick) / _mean(rest) == pytest.approx(0.5, abs=0.1)
    assert _mean(rest) == pytest.approx(12.4, abs=FAR)


# Story 4


def _on_the_gauge(log: Log, readings: pl.DataFrame) -> pl.DataFrame:
    """Readings with DT-2 from its fall to its withdrawal, as the gauge's own record has them."""
    checks = _frame(log, "gauge_checks").filter(pl.col("gauge") == "DT-2")
    fell = checks.filter(pl.col("event") == "dropped")["checked_at"].item()
    withdrawn = checks.filter(pl.col("event") == "withdrawn")["checked_at"].item()
    return readings.filter(
        (pl.col("gauge") == "DT-2") & (pl.col("taken_at") >= fell) & (pl.col("taken_at") < withdrawn)
    )


def test_units_measured_with_dt2_after_it_fell(
    log: Log, readings: pl.DataFrame, jobs: pl.DataFrame, workshop: Workshop
) -> None:
    """Question 3 of trade.md 8.6."""
    used = _on_the_gauge(log, readings)
    assert set(used["job"]) == set(workshop.planted.dropped_gauge)
    assert used["job"].n_unique() == 22
    case_types = jobs.filter(pl.col("job").is_in(used["job"].unique().implode()))["case_type"]
    assert set(case_types) == {"LR-2", "LR-3"}
    assert Counter(used.unique("job")["technician"]).most_common(1)[0][0] == "Birch"


def test_dt2_recess_is_low_on_both_case_types(log: Log, workshop: Workshop) -> None:
    planted = workshop.planted
    for case_type, tolerance in (("LR-2", FAR), ("LR-3", 0.9)):  # 16 units and 6
        recess = _rows(log, case_type, "recess", "trial")
        shifts = []
        for machined in (True, False):
            rows = recess.filter(pl.col("machined") == machined)
            usual = _mean(_without(rows, planted.dropped_gauge, planted.deep_bore, planted.worn_case))
            shifts += (_of(rows, planted.dropped_gauge)["value"].to_numpy() - usual).tolist()
        assert np.mean(shifts) == pytest.approx(-1.5, abs=tolerance)


def test_birch_with_another_gauge_reads_as_usual(log: Log, workshop: Workshop) -> None:
    planted = workshop.planted
    recess = _without(
        _rows(log, "LR-2", "recess", "trial"), planted.dropped_gauge, planted.deep_bore, planted.worn_case
    )
    window = recess.filter(pl.col("taken_at").is_between(pl.datetime(2025, 9, 4), pl.datetime(2025, 12, 1)))
    read = _rows(log, "LR-2", "stand_off", "trial").filter(pl.col("gauge") == "FG-2")
    birch = window.filter((pl.col("technician") == "Birch") & pl.col("job").is_in(read["job"].implode()))
    usual = recess.group_by("machined").agg(usual=pl.col("value").mean())
    joined = birch.join(usual, on="machined")
    shifts = (joined["value"] - joined["usual"]).to_numpy()
    assert len(shifts) >= 6
    assert abs(shifts.mean()) < 2 * shifts.std(ddof=1) / np.sqrt(len(shifts))


def test_dt2_check_piece_and_the_five_caught_by_a_feeler(log: Log, readings: pl.DataFrame, workshop: Workshop) -> None:
    planted = workshop.planted
    checks = _frame(log, "gauge_checks").filter((pl.col("gauge") == "DT-2") & (pl.col("event") == "check"))
    fell = pl.datetime(2025, 9, 4)
    assert checks.filter(pl.col("checked_at") < fell)["reading"].is_between(19.5, 20.5).all()
    assert checks.filter(pl.col("checked_at").is_between(fell, pl.datetime(2025, 12, 2)))["reading"].to_list() == [21.5]
    back = checks.filter(pl.col("checked_at") > pl.datetime(2025, 12, 2))
    assert str(back["checked_at"].min()) > "2026-01-12"
    assert back["reading"].is_between(19.5, 20.5).all()
    assert len(planted.dropped_gauge_caught) == 5
    closure = _of(_rows(log, "LR-2", "closure"), planted.dropped_gauge_caught)
    assert _mean(closure) == pytest.approx(1.5, abs=FAR)
    finals = readings.filter(
        pl.col("job").is_in(list(planted.dropped_gauge_caught)), pl.col("stage") == "final",
        pl.col("characteristic") == "stand_off",
    ).with_columns(middle=(pl.col("low") + pl.col("high")) / 2)  # fmt: skip
    assert set(finals["gauge"]) == {"FG-2"}
    means = finals.group_by("attempt").agg(mean=pl.col("middle").mean()).sort("attempt")["mean"].to_list()
    assert 14 < means[0] < 15 <= means[1] < 17
    truths = {t.job: t.pinch for t in workshop.truths}
    assert all((truths[job] or 0) > 3.0 for job in planted.dropped_gauge_caught)
    left_low = set(planted.dropped_gauge) & set(planted.low_pinch) - set(planted.thick_gasket)
    assert np.mean([truths[job] or 0 for job in left_low]) == pytest.approx(2.5, abs=FAR)


# Story 5


def test_cedar_writes_34_of_40_even(readings: pl.DataFrame, jobs: pl.DataFrame) -> None:
    lr2 = jobs.filter(pl.col("case_type") == "LR-2")["job"].implode()
    final = readings.filter(
        pl.col("stage") == "final", pl.col("characteristic").is_in(["stand_off", "input_float"]),
        pl.col("taken_at") >= pl.datetime(2025, 4, 6), pl.col("job").is_in(lr2), pl.col("low").is_not_null(),
    )  # fmt: skip
    cedar = final.filter(pl.col("technician") == "Cedar")
    assert len(cedar) == 40
    even = int((cedar["low"] % 2 == 0).sum())
    assert even == 34
    assert stats.binomtest(even, 40, 0.5).pvalue == pytest.approx(8e-6, rel=0.1)  # trade.md 4.4
    assert cedar.filter(pl.col("characteristic") == "stand_off")["gauge"].n_unique() == 2
    for name in ("Ash", "Birch"):
        theirs = final.filter((pl.col("technician") == name) & pl.col("gauge").is_in(["FG-1", "FG-2"]))
        assert len(theirs) > 50
        assert 0.3 < float((theirs["low"] % 2 == 0).to_numpy().mean()) < 0.7, name
    elm = final.filter((pl.col("technician") == "Elm") & (pl.col("gauge") == "FG-3"))
    assert len(elm) > 20
    assert (elm["low"] % 2 == 0).all()


# Story 6


def test_comebacks_go_with_low_pinch(comebacks: pl.DataFrame, workshop: Workshop) -> None:
    """Question 6 of trade.md 8.6, with and without stories 3 and 4."""
    planted = workshop.planted
    back = set(comebacks["job"])
    held, low = set(planted.pinch_held), set(planted.low_pinch)

    def table(left_out: set[str]) -> list[list[int]]:
        kept = held - left_out
        return [[len(group & back), len(group - back)] for group in (kept & low, kept - low)]

    assert table(set()) == [[7, 33], [3, 157]]
    assert round(stats.fisher_exact(table(set())).pvalue, 4) == 0.0006  # trade.md 4.6
    thick, dropped = set(planted.thick_gasket), set(planted.dropped_gauge)
    assert len(back & low & thick) == 4
    assert len(back & low & dropped - thick) == 2
    without = table(thick | dropped)
    assert without[0][0] == 1
    assert stats.fisher_exact(without).pvalue > 0.05
    assert back - held == {planted.outstanding_seal}
    assert len(back) == 11


def test_the_comeback_with_the_outstanding_seal(
    jobs: pl.DataFrame, comebacks: pl.DataFrame, workshop: Workshop
) -> None:
    job = jobs.row(by_predicate=pl.col("job") == workshop.planted.outstanding_seal, named=True)
    assert "seal" in job["outstanding"]
    row = comebacks.row(by_predicate=pl.col("job") == workshop.planted.outstanding_seal, named=True)
    assert row["attributable"] == "no"
    assert jobs["outstanding"].is_not_null().sum() > 1


def test_comebacks_return_after_dispatch(jobs: pl.DataFrame, comebacks: pl.DataFrame) -> None:
    joined = comebacks.join(jobs, on="job")
    assert (joined["returned"] > joined["dispatched"]).all()
    rebuilt = jobs.filter(pl.col("case_serial").is_in(joined["case_serial"].implode())).group_by("case_serial").len()
    assert (rebuilt["len"] == 2).sum() == 7


# Decoys


def test_decoys(log: Log, readings: pl.DataFrame, jobs: pl.DataFrame, parts: pl.DataFrame, workshop: Workshop) -> None:
    planted = workshop.planted
    final = readings.filter(pl.col("stage") == "final")

    def middles(job: str) -> dict[str, float]:
        rows = final.filter((pl.col("job") == job) & (pl.col("characteristic") == "stand_off"))
        return {r["position"]: (r["low"] + r["high"]) / 2 for r in rows.iter_rows(named=True)}

    swarf = middles(planted.swarf)
    assert swarf.pop("6") - np.mean(list(swarf.values())) == pytest.approx(4.0, abs=1.5)
    mistyped = final.filter(
        (pl.col("job") == planted.mistyped_unit) & (pl.col("characteristic") == "reverse_gear_float")
    )
    assert (mistyped["reading"].item(), mistyped["low"].item()) == ("0.48", 0.48)
    missing = readings.filter(pl.col("reading").str.starts_with("not accessible"))
    assert set(missing["job"]) == set(planted.missing)
    assert len(missing) == 2
    job = jobs.row(by_predicate=pl.col("job") == planted.concession, named=True)
    assert "2.8" in job["concession"]
    assert "Heron" in job["concession"]
    pinch = _of(_rows(log, "LR-2", "pinch"), (planted.concession,))
    assert round(pinch["value"].item(), 1) == 2.8
    assert pinch["verdict"].item() == "low"
    bush = final.filter((pl.col("job") == planted.wrong_bush) & (pl.col("characteristic") == "large_bush_length"))
    assert bush.sort("attempt")["low"].to_list()[0] == pytest.approx(18.0, abs=0.1)
    assert jobs.row(by_predicate=pl.col("job") == planted.wrong_bush, named=True)["variant"] == "B"
    fitted, shelf = planted.sub_assembly
    built = readings.filter(pl.col("job") == shelf)
    assert (built["technician"].item(), built["gauge"].item()) == ("Ash", "DT-2")
    assert built["taken_at"].item().isoformat() < "2025-09-04"
    assert parts.filter(pl.col("sub_assembly") == shelf)["job"].to_list() == [fitted]


def test_original_and_corrected_value_of_one_unit(readings: pl.DataFrame, workshop: Workshop) -> None:
    """Question 5 of trade.md 8.6."""
    rows = readings.filter((pl.col("job") == workshop.planted.typo) & pl.col("characteristic").eq("stand_off"))
    both = rows.filter((pl.col("stage") == "final") & (pl.col("position") == "3")).sort("attempt")
    assert both["reading"].to_list() == ["61", "16"]
    assert both["replaces"].to_list() == [None, 1]
    assert both["reason"].to_list() == [None, "mistyped"]


def test_second_bearing_supplier_and_winter_change_little(log: Log, parts: pl.DataFrame, workshop: Workshop) -> None:
    planted = workshop.planted
    bearings = parts.filter(pl.col("part") == "output_bearing", pl.col("supplier").is_not_null())
    assert bearings["supplier"].n_unique() == 2
    recess = _without(_rows(log, "LR-2", "recess"), planted.deep_bore, planted.dropped_gauge, planted.worn_case).filter(
        ~pl.col("machined")
    )
    joined = recess.join(bearings.select("job", "supplier"), on="job")
    by = [part["value"].to_numpy() for part in joined.partition_by("supplier")]
    assert stats.ttest_ind(*by, equal_var=False).pvalue > 0.05


def test_the_cold_shop_takes_half_a_thou_and_is_recorded(readings: pl.DataFrame) -> None:
    seasons = [dates.season(day) for day in range(365)]
    assert min(seasons) == pytest.approx(-0.5, abs=0.02)
    assert max(seasons) == pytest.approx(0.3, abs=0.02)
    stand_off = readings.filter(pl.col("characteristic") == "stand_off")
    winter = stand_off["taken_at"].dt.month() <= 2
    assert 100 < winter.sum() < len(winter)
    assert (stand_off["conditions"].str.contains("cold") == winter).to_numpy().mean() > 0.99  # a final may be a day on


def test_mean_recess_of_original_and_faced_cases(log: Log, workshop: Workshop) -> None:
    """Question 7 of trade.md 8.6, with n and a 95 % interval; the model's bases are 25 and 27."""
    planted = workshop.planted
    recess = _without(_rows(log, "LR-2", "recess"), planted.deep_bore, planted.dropped_gauge, planted.worn_case)
    for machined, base in ((False, 25.0), (True, 27.0)):
        values = recess.filter(pl.col("machined") == machined)["value"].to_numpy()
        half = stats.t.ppf(0.975, len(values) - 1) * values.std(ddof=1) / np.sqrt(len(values))
        assert len(values) >= 30
        assert abs(values.mean() - base) < half
        assert half < 0.5


def test_readings_are_written_as_each_gauge_says_them(readings: pl.DataFrame) -> None:
    numbers = readings.filter(pl.col("characteristic") == "stand_off", pl.col("low").is_not_null())
    feelers = numbers.filter(pl.col("gauge").str.starts_with("FG"))
    width = (feelers["high"] - feelers["low"]).alias("width")
    even = feelers["gauge"] == "FG-3"
    assert (width.filter(even) == 2).all()
    assert (width.filter(~even) == 1).all()
    dials = numbers.filter(pl.col("gauge").str.starts_with("DT"))
    assert (dials["low"] * 2 % 1 == 0).all()
    assert (dials["low"] == dials["high"]).all()
    depth = numbers.filter(pl.col("gauge").str.starts_with("DM"))
    assert len(depth) > 20
    assert set(depth["unit"]) == {"mm"}


def test_readings_lie_between_opening_and_dispatch(readings: pl.DataFrame, jobs: pl.DataFrame) -> None:
    joined = readings.filter(pl.col("stage") != "return").join(jobs.select("job", "opened", "dispatched"), on="job")
    assert (joined["taken_at"] >= joined["opened"]).all()
    assert (joined.drop_nulls("dispatched")["taken_at"] < joined.drop_nulls("dispatched")["dispatched"]).all()
    assert (joined["taken_at"].dt.weekday() <= 5).all()
