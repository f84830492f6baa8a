"""A trace on the sample workshop, whose stories are known; and on small logs, where there is little to say.

What was planted is read from the sample's own record (`demo.stories`), which the traced code never reads.
"""

from __future__ import annotations

import csv
import io
import zipfile
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
from scipy import stats

from qclog import resources
from qclog.demo.stories import DROPPED
from qclog.domain.jobs import Job, Part
from qclog.errors import InputError, UnknownNameError
from qclog.services.jobs import jobs
from qclog.services.keeping import people
from qclog.services.papers import investigation_file
from qclog.services.papers import investigation_tables as tables
from qclog.services.tracing.tracing import Trace, trace
from qclog.services.watch.finding_life import Watched
from qclog.store import lock
from qclog.store.log import Log
from tests.conftest import submission
from tests.report.pages import texts_of

SAMPLE = resources.folder("sample_data")


def table(name: str) -> pl.DataFrame:
    return pl.read_csv(SAMPLE / f"{name}.csv", infer_schema=False)


def test_a_comeback_leads_to_its_gasket_lot_and_its_sisters(sample: Log, watched: Watched) -> None:
    found = trace(sample, "J0108", watched=watched)
    carriers = set(table("parts").filter(pl.col("lot") == "G-31")["job"])
    assert len(carriers) == 24
    assert {link.name for link in found.suggested if link.kind == "lot"} == {"G-31"}
    assert {r.job for r in found.recall(found.suggested)} == carriers - {"J0108"}
    assert found.unit is not None
    grades = {p.grade for p in found.unit.points}
    assert grades == {"contributing", "open"}
    assert "BELOW 8 lbf·in (by 2.5 lbf·in)" in found.unit.points[0].about  # its own breach first, with its size
    told = next(p for p in found.unit.points if "G-31" in p.about)
    assert told.grade == "contributing"
    assert "BELOW 8 lbf·in" in told.reason


def test_a_trace_opens_the_log_once_and_works_out_when_it_is_closed(
    sample: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = []
    holding = lock.holding

    def counted(path: Path, patience: float, what: str = "") -> AbstractContextManager[None]:
        opened.append(path)
        return holding(path, patience, what)

    trace(sample, "J0108")  # findings are worked out and kept
    monkeypatch.setattr(lock, "holding", counted)
    found = trace(sample, "J0108")
    assert found.unit is not None
    assert found.unit.points
    assert all(found.compare(link) for link in found.links)
    assert len(opened) == 1


@pytest.mark.parametrize("name", ["LR2-1117", "F0108", "j0108", "qclog:job:J0108"])
def test_a_unit_is_found_by_any_of_its_names(sample: Log, watched: Watched, name: str) -> None:
    found = trace(sample, name, watched=watched)
    assert found.unit is not None
    assert found.unit.job == "J0108"


def test_a_serial_has_its_visits_and_another_can_be_chosen(sample: Log, watched: Watched) -> None:
    found = trace(sample, "LR2-1117", watched=watched, job="J0167")
    assert found.subject.jobs == ("J0108", "J0167")
    assert found.unit is not None
    assert found.unit.job == "J0167"


def test_the_units_read_with_a_dropped_gauge_are_those_between_its_fall_and_its_check(
    sample: Log, watched: Watched
) -> None:
    found = trace(sample, DROPPED, watched=watched)
    events = table("gauge_checks").filter(pl.col("gauge") == DROPPED)
    fell = events.filter(pl.col("event") == "dropped")["checked_at"][0]
    taken_out = events.filter(pl.col("event") == "withdrawn")["checked_at"][0]
    read = table("readings").filter(
        (pl.col("gauge") == DROPPED) & pl.col("taken_at").is_between(pl.lit(fell), pl.lit(taken_out))
    )
    assert set(found.subject.jobs) == set(read["job"])
    assert len(found.subject.jobs) == 22


def test_the_units_of_a_machined_batch_are_those_of_the_folder(sample: Log, watched: Watched) -> None:
    found = trace(sample, "M07", watched=watched)
    mine = table("jobs").filter(pl.col("machining_batch") == "M07")["job"]
    assert {r.job for r in found.recall(found.suggested)} == set(mine)
    assert len(mine) == 8


def test_a_gauge_in_doubt_is_told_with_how_far_it_was_off(sample: Log, watched: Watched) -> None:
    found = trace(sample, "J0175", watched=watched)
    assert found.unit is not None
    worst = found.unit.gauges[0]
    assert (worst.gauge, worst.state, worst.off) == (DROPPED, "in doubt", 1.5)
    assert any(p.grade == "contributing" and DROPPED in p.about for p in found.unit.points)


def test_a_finding_of_the_units_own_visits_leads_to_nobody_else(sample: Log, watched: Watched) -> None:
    found = trace(sample, "LR2-1009", watched=watched)
    assert found.subject.jobs == ("J0007", "J0135", "J0261")
    assert any(link.finding is not None and link.finding.cause == "worn casing" for link in found.links)
    assert found.suggested == ()
    assert not {r.job for r in found.recall(found.links)} & set(found.subject.jobs)


def test_a_comeback_recorded_as_not_ours_is_graded_so(sample: Log, watched: Watched) -> None:
    found = trace(sample, "J0142", watched=watched)
    assert found.unit is not None
    first = found.unit.points[0]
    assert first.grade == "not ours"
    assert "outstanding" in first.reason
    assert all(p.grade == "open" for p in found.unit.points[1:])


def test_a_repair_that_failed_by_hand_is_not_blamed_on_readings(sample: Log, watched: Watched) -> None:
    """J0032 leaked because the sealant missed a stud: its low stand-off is noted and left open."""
    found = trace(sample, "J0032", watched=watched)
    assert found.unit is not None
    assert {p.grade for p in found.unit.points} == {"open"}


def test_places_among_peers_are_counted_then_and_now(sample: Log, watched: Watched) -> None:
    found = trace(sample, "J0108", watched=watched)
    assert found.unit is not None
    torque = next(p for p in found.unit.placed if p.characteristic.code == "turning_torque" and p.stage == "final")
    kin = table("jobs").filter((pl.col("case_type") == "LR-2") & pl.col("machining_batch").is_null())["job"]
    reused = table("parts").filter((pl.col("part") == "output_bearing") & (pl.col("condition") == "reused"))["job"]
    rows = table("readings").filter(
        (pl.col("characteristic") == "turning_torque")
        & (pl.col("stage") == "final")
        & pl.col("job").is_in(kin.implode())
        & ~pl.col("job").is_in(reused.implode())
    )
    values = rows.sort("attempt").group_by("job").last().with_columns(pl.col("reading").cast(pl.Float64))
    mine = values.filter(pl.col("job") == "J0108").row(0, named=True)
    # SciPy's ranking is the independent count.
    assert torque.now.first == stats.rankdata(values["reading"], method="min")[values["job"].index_of("J0108")]
    assert torque.now.last == stats.rankdata(values["reading"], method="max")[values["job"].index_of("J0108")]
    assert torque.now.n == len(values)
    assert torque.then.n == len(values.filter(pl.col("taken_at") <= mine["taken_at"]))


def test_story_six_low_torque_goes_with_comebacks_until_the_explained_units_are_left_out(
    sample: Log, watched: Watched
) -> None:
    found = trace(sample, "J0108", watched=watched)
    going = {g.characteristic.code: g for g in found.going("LR-2")}
    torque = going["turning_torque"]
    assert torque.clear
    assert torque.lower_is_worse
    assert [code for code, g in going.items() if g.clear] == ["turning_torque"]
    assert torque.outside is not None
    # Fisher's exact test by SciPy on the counts that are told.
    (inside, outside), (insides, outsides) = torque.outside.events, torque.outside.exposures
    p = stats.fisher_exact([[outside, outsides - outside], [inside, insides - inside]])[1]
    assert torque.outside.p_value == pytest.approx(p)
    without = found.going("LR-2", without_explained=True)
    assert {g.verdict for g in without} == {"too few to say"}


def test_as_received_is_set_against_as_built(sample: Log, watched: Watched) -> None:
    found = trace(sample, "J0108", watched=watched)
    assert found.unit is not None
    changes = {c.characteristic.code: c for c in found.unit.changes}
    assert (changes["turning_torque"].built, changes["turning_torque"].received) == (5.5, 1.5)
    assert changes["turning_torque"].remark == "TQ-1 both times"


def test_the_limits_are_those_in_force_that_day(sample: Log, watched: Watched) -> None:
    """The sample's LR-2 coupling runout limit became 2 instead of 2.5 thou with the sheet of 2026."""
    old, new = (
        tables.readings_grid(found.unit).columns
        for name in ("J0108", "J0294")
        if (found := trace(sample, name, watched=watched)).unit is not None
    )
    assert "at most 2.5, wanted 0 thou" in old["limits that day"]
    assert "at most 2.5, wanted 0 thou" not in new["limits that day"]


def test_a_correction_is_told_with_who_and_why(sample: Log, watched: Watched) -> None:
    corrected = table("readings").filter(pl.col("replaces").is_not_null())
    row = corrected.row(0, named=True)
    found = trace(sample, row["job"], watched=watched)
    assert found.unit is not None
    remarks = tables.readings_grid(found.unit).columns["remarks"]
    assert any(f"corrects attempt {row['replaces']}: {row['reason']}" in remark for remark in remarks)
    assert any(
        "by Rook on " in remark and f": {row['reason']}" in remark for remark in remarks if "corrected to" in remark
    )


def test_a_sub_assembly_is_told_with_its_own_gauges(sample: Log, watched: Watched) -> None:
    """J0174 has one built three months earlier with DT-2, before that gauge fell."""
    found = trace(sample, "J0174", watched=watched)
    assert found.unit is not None
    assert [inner.job for inner in found.unit.inside] == ["J0104"]
    assert {g.state for g in found.unit.inside[0].gauges} == {"right"}
    assert any(link.kind == "sub_assembly" and set(link.jobs) == {"J0104", "J0174"} for link in found.links)
    assert not any("J0104" in p.about for p in found.unit.points)


def test_the_whole_file_holds_every_reading_and_the_same_log_gives_the_same_bytes(
    sample: Log, watched: Watched
) -> None:
    found = trace(sample, "J0108", watched=watched)
    made = investigation_file.packed(found)
    assert made == investigation_file.packed(trace(sample, "J0108", watched=watched))
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        files = {Path(name).name: archive.read(name) for name in archive.namelist()}
    assert set(files) == {"investigation.pdf", "investigation.html", "readings.csv", "recall.csv"}
    rows = list(csv.DictReader(io.StringIO(files["readings.csv"].decode("utf-8-sig"))))
    said = table("readings").filter(pl.col("job") == "J0108")["reading"]
    assert sorted(row["read"] for row in rows) == sorted(said)
    pages = texts_of(files["investigation.pdf"])
    told = " ".join(pages)
    for word in ("The evidence, graded", "Recall list", "every attempt and correction", "SHA-256", "J0171"):
        assert word in told
    for n, page in enumerate(pages, start=1):
        assert f"page {n} of {len(pages)}" in page
        assert "job J0108" in page
    assert "<svg" in files["investigation.html"].decode("utf-8")


def test_a_lot_is_told_with_its_finding_and_its_units(sample: Log, watched: Watched) -> None:
    found = trace(sample, "g-31", watched=watched)
    assert found.unit is None
    assert len(found.recall(found.suggested)) == 24
    document = investigation_file.investigation_file(found)
    assert any("measure three of the lot" in str(block) for block in document.blocks)


def test_an_unknown_name_is_told_with_what_is_like_it(sample: Log, watched: Watched) -> None:
    with pytest.raises(UnknownNameError) as caught:
        trace(sample, "G-3", watched=watched)
    assert "G-31" in str(caught.value.hint)
    with pytest.raises(UnknownNameError):
        trace(sample, "G-31", kind="job", watched=watched)
    with pytest.raises(InputError):
        trace(sample, "  ", watched=watched)


def test_a_small_log_has_little_to_say_and_says_so(log: Log) -> None:
    found = trace(log, "J-1")
    assert found.unit is not None
    assert found.suggested == ()
    assert found.recall(found.suggested) == ()
    assert {p.grade for p in found.unit.points} == {"open"}
    told = " ".join(texts_of(investigation_file.whole_file(found)["investigation.pdf"]))
    assert "too few comebacks to say" in told


def test_nothing_a_job_is_called_becomes_markup_or_a_formula(log: Log) -> None:
    for name in ("=cmd()", "<script>x</script>"):
        jobs.open_job(log, Job(name, "MR-1", datetime(2026, 1, 5), customer_ref="@me"), submission())
        jobs.add_part(log, Part(name, "gasket", "#import"), submission())
        people.add_comeback(log, name, datetime(2026, 2, 5), submission(), complaint="-1+1")
    found: Trace = trace(log, "#import")
    files = investigation_file.whole_file(found)
    rows = list(csv.DictReader(io.StringIO(files["recall.csv"].decode("utf-8-sig"))))
    assert [row["job"] for row in rows] == ["<script>x</script>", "'=cmd()"]
    assert {row["customer"] for row in rows} == {"'@me"}
    assert {row["complaint"] for row in rows} == {"'-1+1"}
    assert "<script" not in files["investigation.html"].decode("utf-8")
    assert "<script>x</script>" in " ".join(texts_of(files["investigation.pdf"]))
