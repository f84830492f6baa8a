"""Build record, job card, monthly review and labels, from small logs and from the sample workshop."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from qclog import resources
from qclog.domain.jobs import Job
from qclog.domain.speech.scans import write_scan
from qclog.errors import InputError, UnknownNameError
from qclog.report.document import Document, Facts, Heading, Labels, Table
from qclog.report.html import write_html
from qclog.report.pdf import set_pdf
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import jobs
from qclog.services.keeping import verifying
from qclog.services.overview.month import look_at, read_span
from qclog.services.papers import paper
from qclog.services.papers.build_record import build_record
from qclog.services.papers.job_card import job_card
from qclog.services.papers.labels import label_sheet
from qclog.services.papers.monthly_review import monthly_review
from qclog.services.watch import finding_life
from qclog.store.log import Log
from tests.conftest import submission
from tests.report.pages import codes_of, texts_of

SAMPLE = resources.folder("sample_data")


@pytest.fixture
def shop(tmp_path: Path, folder: Path) -> Log:
    made = Log(tmp_path / "imported.duckdb")
    import_folder(made, folder, submission(), timezone="Europe/London")
    return made


def tables(document: Document) -> dict[str, Table]:
    """The first table under each heading."""
    found: dict[str, Table] = {}
    heading = ""
    for block in document.blocks:
        if isinstance(block, Heading):
            heading = block.text
        elif isinstance(block, Table):
            found.setdefault(heading, block)
    return found


def test_a_build_record_has_what_counts_and_keeps_what_does_not(shop: Log) -> None:
    document = build_record(shop, "J-1")
    left = tables(document)["As it stands"]
    assert [(row[1], row[2]) for row in left.rows] == [("12", "19/20"), ("3", "16")]
    assert 1 in left.strong
    gone = next(t for name, t in tables(document).items() if name.startswith("Readings that no longer count"))
    assert gone.rows[0][3] == "61"
    assert any(cell.startswith("corrected to 16 thou by Ash on ") for cell in gone.rows[0])
    said = " ".join(texts_of(set_pdf(document)))
    for word in ("S-9", "BELOW 19 thou", "maker's manual", verifying.job_digest(shop, "J-1").text, "Released by"):
        assert word in said


def test_the_same_log_gives_the_same_paper_and_a_new_reading_another(shop: Log) -> None:
    before = set_pdf(build_record(shop, "J-1"))
    assert before == set_pdf(build_record(shop, "J-1"))
    jobs.say(shop, "J-1", "outstanding", "coupling not here", submission())
    after = texts_of(set_pdf(build_record(shop, "J-1")))
    assert "Outstanding coupling not here" in " ".join(after)
    assert before != set_pdf(build_record(shop, "J-1"))


@pytest.mark.parametrize("job", ["J0108", "J0285", "J0002", "J0041"])
def test_a_build_record_of_the_sample_has_one_or_two_pages(sample: Log, job: str) -> None:
    assert len(texts_of(set_pdf(build_record(sample, job)))) <= 2


def test_a_job_card_lists_every_place_that_is_wanted(log: Log) -> None:
    document = job_card(log, "J-1")
    assert document.code is not None
    assert document.code.text == "J-1"
    assert codes_of(set_pdf(document)) == ["qclog:job:J-1"]
    shown = [row[1] for name in ("Trial", "Final") for row in tables(document)[name].rows if row[1]]
    assert shown == ["12", "3", "6", "9"] * 2
    assert "The maker's manual decides." in " ".join(texts_of(set_pdf(document)))


def test_a_job_that_is_not_there_is_told(log: Log) -> None:
    with pytest.raises(UnknownNameError):
        build_record(log, "J-9")


def test_a_month_begins_and_ends_in_the_workshops_own_time() -> None:
    span = read_span("2026-07", ZoneInfo("Europe/London"))
    assert (span.since, span.until) == (datetime(2026, 6, 30, 23), datetime(2026, 7, 31, 23))
    assert read_span("2026-12", ZoneInfo("UTC")).until == datetime(2027, 1, 1)


@pytest.mark.parametrize("text", ["2026", "2026-13", "may", "2026-05-01", "0001-01", ""])
def test_what_is_no_month_is_told(text: str) -> None:
    with pytest.raises(InputError):
        read_span(text, ZoneInfo("UTC"))


def test_a_month_counts_what_the_folder_says(sample: Log) -> None:
    month = look_at(sample, "2025-11")
    folder = pl.read_csv(SAMPLE / "jobs.csv", infer_schema=False)
    assert len(month.came_in) == folder["opened"].str.starts_with("2025-11").sum()
    assert len(month.left) == folder["dispatched"].str.starts_with("2025-11").sum()
    backs = pl.read_csv(SAMPLE / "comebacks.csv", infer_schema=False)
    assert len(month.backs) == backs["returned"].str.starts_with("2025-11").sum()
    readings = pl.read_csv(SAMPLE / "readings.csv", infer_schema=False)
    assert len(month.readings) == readings["taken_at"].str.starts_with("2025-11").sum()
    dropped = next(g for g in month.gauges if g.gauge == "DT-2")
    assert "in doubt at the end of the month: dropped 2025-09-04" in dropped.says


def test_a_monthly_review_tells_the_findings_and_the_figures(sample: Log) -> None:
    document = monthly_review(sample, "2025-11", finding_life.watch(sample))
    said = " ".join(texts_of(set_pdf(document)))
    for word in ("G-31", "M07", "DT-2", "Came back in this month", "S-A", "page 1 of"):
        assert word in said
    assert write_html(document).count("<svg") == 3
    assert "new in this month" in write_html(monthly_review(sample, "2025-08"))  # G-31, as the log stood then


def test_a_review_of_an_empty_log_says_that_there_is_nothing(tmp_path: Path) -> None:
    empty = Log(tmp_path / "empty.duckdb")
    empty.create()
    said = " ".join(texts_of(set_pdf(monthly_review(empty))))
    assert "Nothing stands out" in said
    assert "None did." in said


def test_a_page_of_labels_has_each_as_often_as_asked(sample: Log) -> None:
    document = label_sheet(sample, {"job": ["j0001"], "lot": ["G-31"], "gauge": ["DT-2"]}, 2)
    block = document.blocks[0]
    assert isinstance(block, Labels)
    assert [code.text for code in block.codes] == [
        "job J0001",
        "job J0001",
        "lot G-31",
        "lot G-31",
        "gauge DT-2",
        "gauge DT-2",
    ]
    assert sorted(codes_of(set_pdf(document))) == sorted(
        [write_scan("job", "J0001"), write_scan("lot", "G-31"), write_scan("gauge", "DT-2")] * 2
    )
    with pytest.raises(UnknownNameError):
        label_sheet(sample, {"lot": ["J0001"]})
    for wrong in ({}, {"job": ["J0001"] * 500}):
        with pytest.raises(InputError):
            label_sheet(sample, wrong)


def test_a_file_of_another_ending_is_refused_and_none_is_left(log: Log, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        paper.save(job_card(log, "J-1"), tmp_path / "card.doc")
    paper.save(job_card(log, "J-1"), tmp_path / "card.pdf")
    assert [p.name for p in tmp_path.glob("card*")] == ["card.pdf"]


def test_a_long_name_and_nasty_words_are_set_whole(log: Log) -> None:
    name = "J<b>#" + "0123456789" * 15
    jobs.open_job(log, Job(name, "MR-1", datetime(2026, 1, 5), customer_ref="<script>"), submission())
    document = build_record(log, name)
    assert any(isinstance(block, Facts) and ("customer", "<script>") in block.pairs for block in document.blocks)
    assert name in "".join("".join(texts_of(set_pdf(document))).split())
    assert "<script" not in write_html(document)
