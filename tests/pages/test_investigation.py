"""The investigation page, without a browser."""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.domain.jobs import Part
from qclog.services.jobs import jobs
from qclog.services.tracing import tracing
from qclog.store.log import Log
from tests.conftest import submission
from tests.pages.conftest import open_page
from tests.pages.test_pages import texts


def test_an_empty_log_has_nothing_to_begin_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(tmp_path / "empty.duckdb")
    log.create()
    monkeypatch.setenv("QCLOG_LOG", str(log.path))
    assert "No comebacks are in the log" in texts(open_page("investigation"))


def test_it_begins_with_the_last_comebacks(shop: Log) -> None:
    assert shop.exists()
    app = open_page("investigation")
    button = next(b for b in app.button if "noisy" in b.label)
    assert "job J\\-1" in button.label
    button.click().run()
    assert not app.exception
    assert "Job J-1: Marine reduction" in texts(app)


def test_a_unit_is_told_with_evidence_and_recall(shop: Log) -> None:
    app = open_page("investigation", trace="S-9")
    said = texts(app)
    assert any("visits of serial S-9" in s.label for s in app.selectbox)
    assert "The evidence, graded" in said
    assert "nobody has said yet whether it is ours" in said
    assert "**lot B-7 (bearing)**, n = 2" in said
    assert "maker's manual" in said
    found = tracing.trace(shop, "S-9")
    assert found.unit is not None
    chosen = next(m for m in app.multiselect)
    assert chosen.value == [f"{link.name_words} ({len(link.jobs)})" for link in found.suggested]
    chosen.set_value([chosen.options[0]]).run()
    assert not app.exception
    assert app.dataframe[-2].value["job"].to_list() == ["J-2"]


def test_a_lot_is_told_with_who_carries_it(shop: Log) -> None:
    assert shop.exists()
    app = open_page("investigation", trace="b-7")
    said = texts(app)
    assert "2 units: 2 in the shop" in said
    assert "The evidence, graded" not in said


def test_a_name_of_several_things_asks_which(shop: Log) -> None:
    jobs.add_part(shop, Part("J-2", "gasket", "J-1"), submission())
    app = open_page("investigation", trace="J-1")
    which = next(r for r in app.radio if r.label == "Several things are called that")
    assert which.options == ["job", "lot"]
    assert "The evidence, graded" in texts(app)
    which.set_value("lot").run()
    assert not app.exception
    assert "1 unit: 1 in the shop" in texts(app)


def test_another_visit_can_be_chosen(shop: Log) -> None:
    assert shop.exists()
    app = open_page("investigation", trace="S-9")
    next(s for s in app.selectbox if "visits" in s.label).set_value("J-3").run()
    assert not app.exception
    assert "Job J-3:" in texts(app)


def test_a_name_that_is_not_there_is_told(shop: Log) -> None:
    assert shop.exists()
    said = texts(open_page("investigation", trace="B-"))
    assert "Nothing in the log is called 'B-'" in said
    assert "B-7" in said


def test_the_job_page_has_its_papers(shop: Log) -> None:
    assert shop.exists()
    app = open_page("job", job="J-1")
    assert [getattr(b, "label", "") for b in app.get("download_button")] == ["Job card", "Build record"]
    next(b for b in app.button if b.label == "Investigate").click().run()
    assert not app.exception
    assert "The evidence, graded" in texts(app)


def test_the_investigation_is_shown_as_the_record_stood(head: int) -> None:
    now_shown = open_page("investigation", trace="K-044")
    assert any("hot at the output" in e.value for e in now_shown.error)
    shown = open_page("investigation", trace="K-044", as_of=str(head))
    assert any(f"As of entry {head}" in i.value for i in shown.info)
    assert not any("hot at the output" in e.value for e in shown.error)
    refused = open_page("investigation", trace="K-044", as_of="yesterday")
    assert any("no entry and no time" in e.value for e in refused.error)
