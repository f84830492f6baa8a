"""Names come in only as people can read, type and print them; what was found is shown cut; folders of any name."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from qclog.cli import main
from qclog.domain.jobs import Gauge, Job, Part, Person
from qclog.domain.moments import now
from qclog.domain.stock import ShimSize
from qclog.errors import FolderError, InputError, LogError
from qclog.report.pdf import set_pdf
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.exchange.parquet_copy import export_parquet, import_parquet
from qclog.services.jobs import jobs
from qclog.services.keeping import people, stock
from qclog.services.keeping.backup import back_up, restore
from qclog.services.papers.job_card import job_card
from qclog.store.log import Log, Submission
from tests.conftest import submission

UNSEEN = [
    "J\u202e100",
    "J\u200b1",
    "J\u20661",
    "J-1\ufeff",
    "J\n1",
    "J\t1",
    "J\x001",
    "J\u00ad1",
    "J\u00a01",
    " J1",
    "J1 ",
    " ",
]
WAYS_IN: dict[str, Callable[[Log, str], object]] = {
    "job": lambda log, name: jobs.open_job(log, Job(name, "MR-1", now()), submission()),
    "serial": lambda log, name: jobs.open_job(log, Job("J-8", "MR-1", now(), case_serial=name), submission()),
    "customer": lambda log, name: jobs.open_job(log, Job("J-8", "MR-1", now(), customer_ref=name), submission()),
    "said later": lambda log, name: jobs.say(log, "J-1", "machining_batch", name, submission()),
    "part": lambda log, name: jobs.add_part(log, Part("J-1", name), submission()),
    "lot": lambda log, name: jobs.add_part(log, Part("J-1", "gasket", lot=name), submission()),
    "person": lambda log, name: people.add_person(log, Person(name, "technician"), submission()),
    "gauge": lambda log, name: people.add_gauge(log, Gauge(name, "dial", "mm", 0.01), submission()),
    "set": lambda log, name: stock.add_leaves(log, ShimSize(name, 5.0, 5.0, "thou"), 1, submission()),
}


@pytest.mark.parametrize("way", WAYS_IN)
def test_a_name_with_letters_that_cannot_be_seen_is_refused(log: Log, way: str) -> None:
    before = whole(log)
    for name in UNSEEN:
        with pytest.raises(InputError) as refused:
            WAYS_IN[way](log, name)
        assert refused.value.field
    assert whole(log) == before


def test_names_of_any_language_are_names_and_get_their_card(log: Log) -> None:
    for name in ("\u05d9-1", "\u0628\u0627\u0628", "Größe 7", "箱-1", "J?1", "J*1"):
        jobs.open_job(log, Job(name, "MR-1", now()), submission())
        assert job_card(log, name).about


def test_a_job_of_an_older_log_gets_its_card_without_a_code(log: Log) -> None:
    with log.writing(submission()) as use:
        use.insert("job", job="J\u202e9", case_type="MR-1", opened=now(), entry=use.entry)
    card = job_card(log, "J\u202e9")
    assert card.code is None
    assert set_pdf(card).startswith(b"%PDF")


@pytest.mark.parametrize("column", ["job", "case_serial", "customer_ref"])
def test_an_import_names_the_line_of_such_a_name(log: Log, folder: Path, column: str) -> None:
    jobs_csv = folder / "jobs.csv"
    header, first, *rest = jobs_csv.read_text(encoding="utf-8").splitlines()
    names = [*header.split(","), "customer_ref"]
    cells = dict(zip(names, [*first.split(","), ""], strict=True)) | {column: "A\u202eB"}
    lines = [",".join(names), ",".join(cells[n] for n in names), *(f"{line}," for line in rest)]
    jobs_csv.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(FolderError) as refused:
        import_folder(log, folder, submission())
    assert any(p.file == "jobs.csv" and p.line == 2 and "U+202E" in p.reason for p in refused.value.problems)


def test_who_does_something_has_a_name_that_can_be_read() -> None:
    with pytest.raises(InputError, match="U\\+202E"):
        Submission("Ash\u202e", "terminal", "test")


def test_what_was_found_is_shown_cut(log: Log, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with (folder / "readings.csv").open("a", encoding="utf-8") as file:
        file.write("J-9,stand_off,final,12,," + "9" * 5_000_000 + ",thou,FG-1,Ash,2026-01-05T09:00\n")
    assert main(["import", str(folder), "--log", str(log.path)]) == 2
    said = capsys.readouterr().err
    assert len(said) < 3000
    error = InputError("no", field="x", found="y" * 10_000)
    assert len(str(error)) < 400
    assert "10,000 letters" in str(error)


@pytest.mark.parametrize("name", ["what?", "a*b", "x[1]", "back\\slash", "quo'te", "{a,b}", "**", "per%20cent", "a#b"])
def test_folders_of_any_name(log: Log, tmp_path: Path, name: str) -> None:
    if os.name == "nt" and set(name) & set("?*\\"):
        return  # which no folder can be called there
    export_folder(log, tmp_path / f"csv {name}")
    export_parquet(log, tmp_path / f"parquet {name}")
    import_folder(Log(tmp_path / "a.duckdb"), tmp_path / f"csv {name}", submission(), timezone="Europe/London")
    assert import_parquet(Log(tmp_path / "b.duckdb"), tmp_path / f"parquet {name}").sound
    inside = tmp_path / name
    inside.mkdir()
    if set(name) & {"?", "\\"}:
        for act in (
            lambda: back_up(log, inside / "shop.duckdb", now()),
            lambda: Log(inside / "new.duckdb").create(),
            lambda: restore(log.path, Log(inside / "new.duckdb")),
        ):
            with pytest.raises(LogError, match="can't lie where"):
                act()
        assert not [file for file in inside.iterdir() if file.suffix != ".lock"]
    else:
        kept = back_up(log, inside / "shop.duckdb", now())
        assert kept.report.sound
        assert restore(kept.path, Log(inside / "new.duckdb")).report.sound


def whole(log: Log) -> dict[str, int]:
    with log.reading() as use:
        return {name: len(use.whole_table(name)) for name in use.table_names()}
