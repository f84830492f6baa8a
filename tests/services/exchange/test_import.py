"""Exchange folders: all or nothing, every problem told at once, twice adds nothing, and back out again."""

from __future__ import annotations

from pathlib import Path

import pytest

from qclog.domain import stored
from qclog.errors import FolderError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import jobs
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log
from tests.conftest import SHEET, submission, write_folder


def bring_in(tmp_path: Path, folder: Path) -> Log:
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, folder, submission(), timezone="Europe/London")
    return log


def problems_of(tmp_path: Path, folder: Path) -> list[str]:
    with pytest.raises(FolderError) as caught:
        import_folder(Log(tmp_path / "shop.duckdb"), folder, submission())
    assert not (tmp_path / "shop.duckdb").exists()
    return [str(p) for p in caught.value.problems]


def replace(folder: Path, file: str, old: str, new: str) -> None:
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_folder_comes_in_whole(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    assert verify(log).sound
    story = jobs.tell(log, "J-1")
    assert (story.job.case_serial, story.job.rebuild) == ("S-9", 1)
    assert [v.job for v in story.visits] == ["J-1", "J-3"]
    assert [(r.row.low, r.row.counts) for r in story.readings] == [
        (40, True), (19, True), (61, False), (16, True),
    ]  # fmt: skip
    assert story.comebacks[0].hours == 120
    (torque,) = jobs.tell(log, "J-2").readings
    assert torque.row.low == pytest.approx(1.4 / 0.1129848290276167)  # 1 lbf·in in N·m, from exact definitions
    assert torque.row.taken_at.isoformat() == "2026-01-06T09:02:30"
    assert torque.verdict.limit_set == "reused"


def test_the_second_time_adds_nothing_and_says_so(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    with log.reading() as use:
        before = use.rows("revision", stored.Revision)
    again = import_folder(log, folder, submission())
    assert again.nothing_new
    assert dict(again.already)["readings"] == 5
    with log.reading() as use:
        assert use.rows("revision", stored.Revision) == before


def test_more_rows_later_add_only_themselves(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    with (folder / "readings.csv").open("a") as file:
        file.write("J-2,trial_pack,trial,,,41,,,Ash,2026-01-06T11:00,,,\n")
    replace(folder, "jobs.csv", "J-3,MR-1,S-9,2,,2026-02-06", "J-3,MR-1,S-9,2,M02,2026-02-06")
    done = import_folder(log, folder, submission())
    assert dict(done.added)["readings"] == 1
    assert dict(done.added)["jobs"] == 1
    assert jobs.tell(log, "J-3").job.machining_batch == "M02"


def test_another_value_for_a_stored_reading_is_refused(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    replace(folder, "readings.csv", "J-1,trial_pack,trial,,,40", "J-1,trial_pack,trial,,,42")
    with pytest.raises(FolderError) as caught:
        import_folder(log, folder, submission())
    (problem,) = caught.value.problems
    assert (problem.line, problem.found) == (2, "42")
    assert "correction" in problem.reason
    assert log.exists()


def test_another_detail_for_a_stored_job_is_refused(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    replace(folder, "jobs.csv", "J-2,MR-1,S-10,1,M01", "J-2,MR-1,S-10,1,M09")
    with pytest.raises(FolderError, match="1 problem"):
        import_folder(log, folder, submission())


def test_every_problem_in_every_file_is_told(tmp_path: Path, folder: Path) -> None:
    replace(folder, "people.csv", "Heron,inspector", "Heron,captain")
    replace(folder, "gauges.csv", "TQ-1,torque,lbf·in,0.5,", "TQ-1,torque,mil,-1,")
    replace(folder, "jobs.csv", "J-2,MR-1", "J-2,ZZ-1")
    replace(folder, "jobs.csv", "2026-02-06", "yesterday")
    replace(folder, "parts.csv", "J-2,bearing,B-7,reused", "J-7,bearing,B-7,old")
    replace(folder, "readings.csv", "J-1,trial_pack,trial,,,40,,,Ash", "J-1,trial_pack,trial,,,40 N·m,,FG-9,Nobody")
    replace(folder, "readings.csv", "J-1,stand_off,final,12,1,19/20", "J-1,stand_off,final,7,x,19/20")
    replace(folder, "comebacks.csv", "open,120", "perhaps,-1")
    told = "\n".join(problems_of(tmp_path, folder))
    for expected in (
        "people.csv:3 role: 'captain'",
        "gauges.csv:3 unit: 'mil'",
        "gauges.csv:3 step: '-1'",
        "jobs.csv:3 case_type: 'ZZ-1'",
        "jobs.csv:4 opened: 'yesterday'",
        "parts.csv:3 condition: 'old'",
        "readings.csv:2 technician: 'Nobody'",
        "readings.csv:3 attempt: 'x'",
        "comebacks.csv:2 attributable: 'perhaps'",
        "comebacks.csv:2 hours: '-1'",
    ):
        assert expected in told, told


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("J-1,trial_pack,trial,,,40,", "J-1,trial_pack,trial,,,forty-ish,", "reading: 'forty-ish'"),
        ("J-1,trial_pack,trial,,,40,", "J-1,trial_pack,trial,,,40 N·m,", "reading: '40 N·m'"),
        ("J-1,trial_pack,trial,,,40,", "J-1,trial_pack,final,,,40,", "stage: 'final'"),
        ("J-1,trial_pack,trial,,,40,", "J-1,recess,trial,,,40,", "characteristic: 'recess'"),
        ("J-1,trial_pack,trial,,,40,", "J-1,nobody,trial,,,40,", "characteristic: 'nobody'"),
        ("J-1,trial_pack,trial,,,40,", "J-9,trial_pack,trial,,,40,", "job: 'J-9'"),
        ("J-1,trial_pack,trial,,,40,", "J-1,trial_pack,trial,,,40,thumbs", "reading: '40' "),
        ("final,12,1,19/20", "final,,1,19/20", "position: "),
        ("final,12,1,19/20", "final,12,1,20/19", "reading: '20/19'"),
        ("final,3,2,16", "final,3,1,16", "attempt: '1' is at a place that line 4 has already"),
        (",1,mistyped", ",1,", "reason: must be given"),
        (",1,mistyped", ",2,mistyped", "replaces: '2' must be an earlier attempt"),
        ("oiled rotating", "oiled", "conditions: 'oiled'"),
        ("2026-01-05T09:00", "5 Jan", "taken_at: '5 Jan'"),
        ("2026-01-05T09:00", "0001-01-01T00:00", "taken_at: '0001-01-01T00:00'"),
        (",FG-1,Ash,2026-01-05T10:00", ",FG-7,Ash,2026-01-05T10:00", "gauge: 'FG-7'"),
    ],
)
def test_bad_readings(tmp_path: Path, folder: Path, old: str, new: str, expected: str) -> None:
    replace(folder, "readings.csv", old, new)
    told = problems_of(tmp_path, folder)
    assert any(expected in t for t in told), told


@pytest.mark.parametrize(
    ("file", "content", "reason"),
    [
        ("people.csv", "person,role\nJosé,technician\n".encode("latin-1"), "people.csv:2 is not UTF-8 text (byte e9)"),
        ("jobs.csv", b"", "jobs.csv:1 is empty: a header line is needed"),
        ("jobs.csv", b"job;case_type;opened\nJ-1;MR-1;2026-01-05\n", "is separated by semicolons"),
        ("case_types/sheet.toml", b'code = "MR-1', "case_types/sheet.toml is not TOML"),
    ],
)
def test_a_file_that_cannot_be_read_puts_no_blame_on_others(
    tmp_path: Path, folder: Path, file: str, content: bytes, reason: str
) -> None:
    (folder / file).write_bytes(content)
    (problem,) = problems_of(tmp_path, folder)
    assert reason in problem


def test_thirty_bad_rows_are_thirty_problems(tmp_path: Path, folder: Path) -> None:
    with (folder / "readings.csv").open("a") as file:
        for i in range(30):
            file.write(f"J-1,stand_off,trial,12,{i + 1},x{i}y,,FG-1,Ash,2026-01-05T10:00,,,\n")
    assert [t for t in problems_of(tmp_path, folder) if "readings.csv" in t][-1].startswith("readings.csv:36 ")


def test_windows_line_ends_and_a_byte_order_mark_are_fine(tmp_path: Path, folder: Path) -> None:
    for file in folder.glob("*.csv"):
        file.write_bytes(b"\xef\xbb\xbf" + file.read_text(encoding="utf-8").replace("\n", "\r\n").encode())
    assert len(jobs.tell(bring_in(tmp_path, folder), "J-1").readings) == 4


def test_quoted_cells_and_line_ends_inside_them(tmp_path: Path, folder: Path) -> None:
    (folder / "comebacks.csv").write_text(
        'job,returned,complaint\nJ-1,2026-05-05,"noisy, and\nhot"\n\nJ-2,2026-05-06,"said ""bad"""\nJ-2,soon,x\n'
    )
    (told,) = problems_of(tmp_path, folder)
    assert told.startswith("comebacks.csv:6 returned: 'soon'")
    replace(folder, "comebacks.csv", "J-2,soon,x\n", "")
    log = bring_in(tmp_path, folder)
    assert jobs.tell(log, "J-1").comebacks[0].complaint == "noisy, and\nhot"
    assert jobs.tell(log, "J-2").comebacks[0].complaint == 'said "bad"'


@pytest.mark.parametrize(
    ("file", "content", "expected"),
    [
        ("people.csv", b"person,role\nAsh,technician\nJos\xe9,technician\n", "people.csv:3"),
        ("people.csv", b"Ash,technician\nHeron,inspector\n", "is not a header line"),
        ("people.csv", b"person,role,shoe\nAsh,technician,9\nHeron,inspector,9\n", "shoe"),
        ("people.csv", b"person\nAsh\nHeron\n", "role"),
        ("people.csv", b"person,role\nAsh,technician\nHeron\n", "people.csv:3"),
        ("people.csv", b"person,role\nAsh,technician\nHeron,inspector,9\n", "people.csv:3"),
        ("people.csv", b"", "is empty"),
        ("people.csv", b"person,role\nAsh,tech\0nician\n", "zero byte"),
        ("people.csv", b'person,role\n"Ash,technician\nHeron,inspector\n', "can't be split"),
        ("reading.csv", b"x\n", "did you mean readings.csv"),
        ("case_types/bad.toml", b'code = "\n', "case_types/bad.toml:1"),
    ],
)
def test_files_that_are_not_as_they_should_be(
    tmp_path: Path, folder: Path, file: str, content: bytes, expected: str
) -> None:
    (folder / file).write_bytes(content)
    assert any(expected in told for told in problems_of(tmp_path, folder))


def test_an_empty_folder_and_no_folder(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for name in ("empty", "nowhere"):
        with pytest.raises(FolderError):
            import_folder(Log(tmp_path / "shop.duckdb"), tmp_path / name, submission())
    assert not (tmp_path / "shop.duckdb").exists()


def test_a_reading_is_judged_by_the_version_in_force_when_it_was_taken(tmp_path: Path, folder: Path) -> None:
    newer = SHEET.replace('version = "1"', 'version = "2"\nin_force = 2026-01-06').replace("upper = 20", "upper = 25")
    (folder / "case_types" / "newer.toml").write_text(newer, encoding="utf-8")
    with (folder / "readings.csv").open("a") as file:
        file.write("J-2,stand_off,final,12,1,22,,,Ash,2026-01-05T23:59,,,\n")
        file.write("J-2,stand_off,final,3,1,22,,,Ash,2026-01-06T00:00,,,\n")
    readings = jobs.tell(bring_in(tmp_path, folder), "J-2").readings
    told = {r.row.position: (r.verdict.result, r.version) for r in readings if r.row.position}
    assert told == {"12": ("high", "1"), "3": ("inside", "2")}


def test_a_changed_sheet_needs_a_new_version(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    write_folder(folder, sheet=SHEET.replace("upper = 20", "upper = 21"))
    with pytest.raises(FolderError) as caught:
        import_folder(log, folder, submission())
    assert "new version" in str(caught.value.problems[0])


def test_two_versions_without_a_date_are_refused(tmp_path: Path, folder: Path) -> None:
    (folder / "case_types" / "newer.toml").write_text(SHEET.replace('version = "1"', 'version = "2"'), encoding="utf-8")
    assert "in_force" in problems_of(tmp_path, folder)[0]


def test_what_is_exported_imports_back_and_exports_the_same_bytes(tmp_path: Path, folder: Path) -> None:
    log = bring_in(tmp_path, folder)
    export_folder(log, tmp_path / "out")
    other = Log(tmp_path / "other.duckdb")
    import_folder(other, tmp_path / "out", submission(), timezone="Europe/London")
    export_folder(other, tmp_path / "out2")
    files = sorted(f.relative_to(tmp_path / "out") for f in (tmp_path / "out").rglob("*") if f.is_file())
    assert len(files) == 8
    for file in files:
        assert (tmp_path / "out" / file).read_bytes() == (tmp_path / "out2" / file).read_bytes(), file
    assert import_folder(log, tmp_path / "out", submission()).nothing_new


def test_a_file_too_large_to_be_right_is_refused_unread(tmp_path: Path, folder: Path) -> None:
    """Made with a hole in it, so that it takes no room here."""
    with (folder / "parts.csv").open("r+b") as file:
        file.truncate(2_000_000_001)
    (problem,) = problems_of(tmp_path, folder)
    assert problem == "parts.csv is larger than 2,000,000,000 bytes: bring it in as several folders"
    with (folder / "case_types" / "sheet.toml").open("r+b") as file:
        file.truncate(1_000_001)
    assert "case_types/sheet.toml is larger than 1,000,000 bytes" in problems_of(tmp_path, folder)


def test_a_file_with_the_line_ends_of_old_is_read(tmp_path: Path, folder: Path) -> None:
    """Found by the fuzz set: a header that ends in a carriage return alone was a crash."""
    people = folder / "people.csv"
    people.write_bytes(people.read_bytes().replace(b"\n", b"\r"))
    log = bring_in(tmp_path, folder)
    assert verify(log).sound


def test_a_line_end_inside_a_cell_leaves_empty_cells_empty(tmp_path: Path, folder: Path) -> None:
    """Found by the fuzz set: a quoted line end in a file without spaces made empty cells into texts of no letters."""
    write_folder(
        folder,
        jobs="job,case_type,case_serial,customer_ref,opened,outstanding\n"
        'J-1,MR-1,S-9,,2026-01-05,"seal\nto fit"\nJ-2,MR-1,S-10,,2026-01-06,\nJ-3,MR-1,,,2026-02-06,\n',
    )
    log = bring_in(tmp_path, folder)
    with log.reading() as use:
        rows = [use.rows("job_by_id", stored.Job, job=job)[0] for job in ("J-1", "J-2", "J-3")]
    assert [(r.case_serial, r.customer_ref, r.outstanding) for r in rows] == [
        ("S-9", None, "seal\nto fit"),
        ("S-10", None, None),
        (None, None, None),
    ]


def test_a_half_written_folder_is_told_and_nothing_is_imported(tmp_path: Path, folder: Path) -> None:
    """By its name, as a killed export leaves it; or by a row that ends too early, wherever a copy was cut short."""
    half = folder.rename(tmp_path / ".way-out.unfinished")
    with pytest.raises(FolderError, match="stopped before it was whole"):
        import_folder(Log(tmp_path / "shop.duckdb"), half, submission())
    assert not (tmp_path / "shop.duckdb").exists()
    folder = half.rename(tmp_path / "folder")
    whole = (folder / "readings.csv").read_bytes()
    last = whole.rstrip().rindex(b"\n") + 1
    for cut in range(last + 1, last + whole[last:].rindex(b",Ash") + 4, 3):
        (folder / "readings.csv").write_bytes(whole[:cut])
        assert [p for p in problems_of(tmp_path, folder) if p.startswith("readings.csv:6")]
    (folder / "readings.csv").write_bytes(b"")
    assert problems_of(tmp_path, folder) == ["readings.csv:1 is empty: a header line is needed"]
