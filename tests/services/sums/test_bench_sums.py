"""The sums of a job from its readings, with packs from stock and what the log teaches."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from qclog.bench import mesh
from qclog.bench.need import need_of
from qclog.domain.jobs import Gauge, Job, Part, Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimSize
from qclog.errors import InputError, UnknownNameError
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.keeping import people, sheets, stock
from qclog.services.sums import bench_sums
from qclog.services.sums.forecast import forecast
from qclog.services.sums.learning import learn
from qclog.services.sums.sum_readings import Told
from qclog.store.log import Log
from tests.conftest import submission

SHEET = """\
code = "MR-2"
name = "Marine reduction"
family = "marine"
version = "1"

[[characteristic]]
code = "pack"
name = "Pack"
unit = "thou"
step = 0.1
stages = ["trial", "final"]
gauge_kind = "micrometer"

[[characteristic]]
code = "gap"
name = "Stand-off"
unit = "thou"
step = 1.0
stages = ["trial", "final"]
positions = ["12", "3", "6", "9"]
gauge_kind = "feeler"

[[characteristic]]
code = "gasket"
name = "Gasket"
unit = "mm"
step = 0.001
gauge_kind = "micrometer"

[[characteristic]]
code = "crushed"
name = "Crushed sample"
unit = "thou"
step = 0.1

[[characteristic]]
code = "pull"
name = "Pull on the cage"
unit = "lbf"
gauge_kind = "balance"

[[characteristic]]
code = "torque"
name = "Turning torque"
unit = "lbf·in"
formula = "pull * 4.5 in / 2"

[[characteristic]]
code = "old_mark"
name = "Old mark"
unit = "mm"
stages = ["as_found"]

[[characteristic]]
code = "new_mark"
name = "New mark"
unit = "mm"
stages = ["trial"]

[[characteristic]]
code = "old_shim"
name = "Old shim"
unit = "thou"
stages = ["as_found"]

[[characteristic]]
code = "pattern"
name = "Pattern"
unit = "count"
shape = "category"
categories = ["central", "toe", "heel", "high", "low"]

[[sum]]
kind = "pack"
code = "cover"
name = "Cover"
shim_location = "under_bearing"
gap = "gap"
trial_pack = "pack"
final_pack = "pack"
gasket = "gasket"
gasket_nominal = 13.5
crush = 0.11
gasket_crushed = "crushed"
target_at = "warm"
pinch = 4
limits = { lower = 3, upper = 5.5 }
stock = "S-A"
leaves = [1, 5]
safer = "thicker"

[[sum]]
kind = "pinion_shim"
code = "depth"
name = "Pinion"
old_shim = "old_shim"
old_mark = "old_mark"
new_mark = "new_mark"
sign = -1

[[sum]]
kind = "pattern"
code = "contact"
name = "Contact"
drive = "pattern"
more_shim = "away"
"""


@pytest.fixture
def shop(log: Log) -> Log:
    sheets.add(log, read_sheet(SHEET), submission())
    people.add_gauge(log, Gauge("MC-1", "micrometer", "thou", 0.1), submission())
    for job in ("J-10", "J-11"):
        jobs.open_job(log, Job(job, "MR-2", now()), submission())
    return log


def read(log: Log, code: str, *texts: str, stage: str = "trial", job: str = "J-10") -> None:
    places = ("12", "3", "6", "9") if code == "gap" else ("",)
    gauge = "FG-1" if code == "gap" else None
    for place, text in zip(places, texts * (len(places) if len(texts) == 1 else 1), strict=True):
        capture.take(log, Place(job, code, stage, place), text, Circumstances("Ash", gauge), submission())


def sums(log: Log, job: str = "J-10") -> dict[str, list[Told]]:
    found: dict[str, list[Told]] = {}
    for told in bench_sums.read_sums(log, jobs.tell(log, job)):
        found.setdefault(told.sum.code, []).append(told)
    return found


def test_nothing_is_said_until_every_place_is_read(shop: Log) -> None:
    assert sums(shop) == {}
    read(shop, "pack", "40")
    for place, text in zip(("12", "3", "6"), ("15/16", "15/16", "14/15"), strict=True):
        capture.take(shop, Place("J-10", "gap", "trial", place), text, Circumstances("Ash", "FG-1"), submission())
        assert sums(shop) == {}
    capture.take(shop, Place("J-10", "gap", "trial", "9"), "not accessible", Circumstances("Ash", "FG-1"), submission())
    (told,) = sums(shop)["cover"]
    assert told.lines[0].startswith("40 - 15.167 = 24.833 recess; 24.833 + 12.015 gasket + 4 pinch = 40.848")


def test_trial_final_pinch_and_closure(shop: Log) -> None:
    read(shop, "pack", "40")
    read(shop, "gap", "14.5/15.5")
    (trial,) = sums(shop)["cover"]
    assert trial.answer is not None
    assert trial.answer.value == pytest.approx(25 + 12.015 + 4)
    assert 0.3 < trial.answer.u < 0.8
    assert not trial.fitted
    assert "gasket not measured yet" in trial.lines[1]
    read(shop, "gasket", "0.3429 mm", stage="final")
    read(shop, "pack", "41", stage="final")
    read(shop, "gap", "15.5/16.5", stage="final")
    trial, final = sums(shop)["cover"]
    assert trial.fitted
    assert final.answer is not None
    assert final.answer.value == pytest.approx(16 - 0.89 * 0.3429 / 0.0254)
    assert final.answer.u < trial.answer.u if trial.answer else False
    assert any("closes" in line for line in final.lines)


def test_a_closure_that_fails_says_what_to_check(shop: Log) -> None:
    read(shop, "pack", "40")
    read(shop, "gap", "14.5/15.5")
    read(shop, "pack", "41", stage="final")
    read(shop, "gap", "18.5/19.5", stage="final")
    _, final = sums(shop)["cover"]
    assert any("DOES NOT CLOSE" in line for line in final.lines)
    assert any("Mic the pack again" in caution for caution in final.cautions)


def test_a_crushed_sample_counts_before_the_free_thickness(shop: Log) -> None:
    read(shop, "pack", "40")
    read(shop, "gap", "14.5/15.5")
    read(shop, "gasket", "0.35 mm", stage="final")
    read(shop, "crushed", "12.4", stage="final")
    (told,) = sums(shop)["cover"]
    assert told.answer is not None
    assert told.answer.value == pytest.approx(25 + 12.4 + 4)
    assert "crushed sample of the lot" in told.lines[1]


def test_a_cold_reading_against_a_warm_target_is_warned_of(shop: Log) -> None:
    for code, text, place in (("pack", "40", ""), *(("gap", "15/16", p) for p in ("12", "3", "6", "9"))):
        how = Circumstances("Ash", None, None, ("cold",))
        capture.take(shop, Place("J-10", code, "trial", place), text, how, submission())
    (told,) = sums(shop)["cover"]
    assert any("let it come to one temperature" in caution for caution in told.cautions)


def test_a_spring_balance_and_its_radius_are_a_formula(shop: Log) -> None:
    read(shop, "pull", "4", stage="final")
    (torque,) = [d for d in jobs.tell(shop, "J-10").derived if d.characteristic.code == "torque"]
    assert torque.value == pytest.approx(9)
    assert torque.u == pytest.approx(0.05 * 9)


def test_a_flush_cover_asks_for_a_thicker_pack(shop: Log) -> None:
    read(shop, "pack", "40")
    read(shop, "gap", "1/2", "1/2", "no leaf enters", "1/2")
    (told,) = sums(shop)["cover"]
    assert told.problem is not None
    assert "flush" in told.problem.message
    assert "thicker trial pack" in (told.problem.hint or "")


def test_the_pack_comes_from_stock_with_the_pinch_it_gives(shop: Log) -> None:
    read(shop, "pack", "40")
    read(shop, "gap", "14.5/15.5")
    told = bench_sums.read_sums(shop, jobs.tell(shop, "J-10"))
    (none,) = bench_sums.fits_for(shop, told)[0]
    assert none.choice is None
    assert "qclog stock add S-A" in none.why
    for size, count in ((20, 3), (10, 2), (5, 1), (3, 3), (1, 2)):
        stock.add_leaves(shop, ShimSize("S-A", size, size, "thou"), count, submission())
    (fit,) = bench_sums.fits_for(shop, told)[0]
    assert fit.text == "fit 20+20+1 = 41, -0.015 off (set S-A)"
    assert fit.pinch is not None
    assert fit.pinch.value == pytest.approx(4 - 0.015)
    assert (fit.pinch.lower, fit.pinch.upper) == (3, 5.5)
    assert fit.pinch.chance_inside is not None
    assert 0.5 < fit.pinch.chance_inside < 1


def test_two_jobs_are_not_promised_the_same_leaf(shop: Log) -> None:
    for size, count in ((20, 3), (10, 2), (5, 2), (3, 4), (1, 2)):
        stock.add_leaves(shop, ShimSize("S-A", size, size, "thou"), count, submission())
    for job in ("J-10", "J-11"):
        read(shop, "pack", "40", job=job)
        read(shop, "gap", "14.5/15.5", job=job)
    told = [bench_sums.read_sums(shop, jobs.tell(shop, job)) for job in ("J-10", "J-11")]
    fits = bench_sums.fits_together(shop, told)
    packs = [f.choice.best for found in fits for f in found[0] if f.choice]
    assert all(p is not None and abs(p.total - 41) < 0.6 for p in packs)
    used = [p.leaf.size for pack in packs if pack for p in pack.leaves]
    assert used.count(20) <= 3


def test_marks_in_mm_give_a_pack_in_thou(shop: Log) -> None:
    read(shop, "old_mark", "+0.03", stage="as_found")
    read(shop, "old_shim", "100", stage="as_found")
    read(shop, "new_mark", "-0.02")
    (told,) = sums(shop)["depth"]
    assert told.answer is not None
    assert told.answer.value == pytest.approx(100 + 0.05 / 0.0254)
    capture.correct_last(shop, "J-10", "-2", "mistyped", Circumstances("Ash"), submission())
    (wrong,) = sums(shop)["depth"]
    assert wrong.problem is not None
    assert "a few thou" in wrong.problem.message


def test_a_pattern_says_the_move_and_the_shim(shop: Log) -> None:
    read(shop, "pattern", "high", stage="final")
    (told,) = sums(shop)["contact"]
    assert "pinion toward the wheel (remove shim)" in told.headline
    assert any("gears' hand" in caution for caution in told.cautions)


def test_derived_results_carry_their_uncertainty(log: Log) -> None:
    # Four brackets one thou wide by one feeler, and a pack as typed: own parts fall with four, the blade's does not.
    for code, texts in (("trial_pack", ("40",)), ("stand_off", ("15/16",) * 4)):
        for place, text in zip(("12", "3", "6", "9") if code == "stand_off" else ("",), texts, strict=True):
            how = Circumstances("Ash", "FG-1" if code == "stand_off" else None)
            capture.take(log, Place("J-1", code, "trial", place), text, how, submission())
    (recess,) = [d for d in jobs.tell(log, "J-1").derived if d.characteristic.code == "recess"]
    feeler = (1 / 12 + 0.25**2) / 4 + 0.2**2
    micrometer = 0.5**2 / 12 + 0.2**2 + 0.15**2
    assert recess.value == pytest.approx(24.5)
    assert recess.u == pytest.approx((feeler + micrometer) ** 0.5)


def test_the_backlash_factor_is_learned_from_the_sample(sample: Log) -> None:
    with sample.reading() as use:
        sheet = sheets.latest(use, "TB-D")
    factor = learn(sample, sheet)["carrier"]
    assert isinstance(factor, mesh.Factor)
    assert factor.n >= 5
    assert factor.low < 0.65 < factor.high  # what the sample's model moves it by
    assert factor.high - factor.low < 0.2


def test_the_slope_of_torque_is_learned_from_the_sample(sample: Log) -> None:
    with sample.reading() as use:
        sheet = sheets.latest(use, "LR-2")
    slope = learn(sample, sheet)["torque_for_pinch"]
    assert slope.low < 2.6 < slope.high  # the sample's model
    assert slope.n >= 20


def test_every_job_of_the_sample_has_sums_that_stand(sample: Log) -> None:
    told = 0
    for row in jobs.list_jobs(sample)[::6]:
        story = jobs.tell(sample, row.job)
        found = bench_sums.tell_sums(story)
        told += len(found)
        assert all(one.problem is None for one in found), (row.job, found)
        bench_sums.tell_faces(story)
    assert told > 80


def test_the_forecast_follows_each_case_types_own_packs(sample: Log) -> None:
    needs, coming = forecast(sample, "S-A", {"LR-2": 10, "LR-3": 0})
    assert {c.case_type: c.jobs for c in coming} == {"LR-2": 10, "LR-3": 0}
    by_size = {f.nominal: f for f in needs}
    assert 12 < by_size[20].need.expected < 20  # packs of 38 to 44: two twenties or one each
    assert by_size[20].short > 0
    assert sum(f.nominal * f.need.expected for f in needs) == pytest.approx(10 * 41, rel=0.05)
    more, _ = forecast(sample, "S-A", {"LR-2": 20})
    assert all(m.need.expected == pytest.approx(2 * n.need.expected) for m, n in zip(more, needs, strict=True))
    with pytest.raises(UnknownNameError, match="S-Z"):
        forecast(sample, "S-Z")
    with pytest.raises(InputError, match="takes no shims"):
        forecast(sample, "S-A", {"VX-1": 3})


def test_a_forecast_against_draws() -> None:
    past = [0, 1, 1, 2, 2, 2, 3]
    need = need_of([(past, 12), ([1, 1, 1, 1, 1], 2)], there=25, sure=0.9)
    drawn = np.random.default_rng(5).choice(past, (200_000, 12)).sum(axis=1) + 2
    assert need.expected == pytest.approx(float(drawn.mean()), abs=0.02)
    assert need.enough == int(np.quantile(drawn, 0.9, method="inverted_cdf"))
    assert need.chance_enough == pytest.approx(float((drawn <= 25).mean()), abs=0.005)
    with pytest.raises(InputError, match="5 past jobs"):
        need_of([([1, 2], 3)], there=1)


def test_reused_gears_without_an_as_found_backlash(sample: Log, tmp_path: Path) -> None:
    log = Log(tmp_path / "bevel.duckdb")
    log.create()
    with sample.reading() as use:
        sheets.add(log, sheets.latest(use, "TB-D"), submission())
    people.add_person(log, Person("Ash", "technician"), submission())
    jobs.open_job(log, Job("B-1", "TB-D", now()), submission())
    jobs.add_part(log, Part("B-1", "crown_wheel_set", condition="reused"), submission())
    how = Circumstances("Ash", None, None, ("caps_torqued",))
    for code, text, place in (
        ("wheel_side_shim", "42", ""), ("far_side_shim", "46", ""),
        *(("backlash", "11", p) for p in ("0", "90", "180", "270")),
    ):  # fmt: skip
        capture.take(log, Place("B-1", code, "final", place), text, how, submission())
    told = [t for t in bench_sums.read_sums(log, jobs.tell(log, "B-1")) if t.sum.code == "carrier"]
    assert told[0].problem is not None
    assert "none was read" in told[0].problem.message
    for place in ("0", "90", "180", "270"):
        capture.take(log, Place("B-1", "backlash", "as_found", place), "8.4", how, submission())
    (move,) = [t for t in bench_sums.read_sums(log, jobs.tell(log, "B-1")) if t.sum.code == "carrier"]
    assert move.answer is not None
    assert move.answer.value == pytest.approx(-2.6 / 0.65)
    assert move.headline.startswith("move the wheel 4 thou toward the pinion")
    assert [w.want.thickness for w in (move.wanted, *move.extra) if w] == pytest.approx([46, 42])
    for size, count in ((25, 4), (10, 4), (5, 4), (3, 6)):
        stock.add_leaves(log, ShimSize("S-D", size, size, "thou"), count, submission())
    fits = bench_sums.fits_for(log, [move])[0]
    assert len(fits) == 2
    assert all(f.choice is not None and f.choice.reached for f in fits)
    assert fits[0].text.startswith("wheel side: fit ")
