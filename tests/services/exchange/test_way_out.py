"""Both ways out are whole: export, import and export again give the same bytes.

The Parquet copy is described by Data Package and Table Schema (datapackage.org, version 2), units by UCUM (ucum.org).
Values of UCUM's atoms below are as its table of units (ucum-essence.xml) gives them.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from qclog.domain import stored
from qclog.domain.findings import Change, Note
from qclog.domain.jobs import Person
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.domain.quantities import units
from qclog.domain.quantities.ucum import ucum_code
from qclog.domain.quantities.unit_names import PINT_NAME
from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.stock import ShimMove, ShimSize
from qclog.errors import FolderError, InputError, LogError, LogVersionError
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.exchange.parquet_copy import export_parquet, import_parquet
from qclog.services.jobs import capture, jobs
from qclog.services.jobs.capture import Circumstances
from qclog.services.jobs.jobs import StoryReading
from qclog.services.keeping import people, sheets
from qclog.services.keeping.verifying import short_digest, verify
from qclog.store import findings as life
from qclog.store import stock as shelves
from qclog.store.ids import new_id
from qclog.store.log import Log
from tests.conftest import SHEET, submission
from tests.services.keeping.test_backup import filled
from tests.store.test_upgrades import rows_in

__all__ = ["filled"]  # a fixture
TRICKY = (
    "=1+1",
    "'=1+1",
    "''=1",
    "@SUM(A1)",
    "-2+3+cmd|' /C calc'!A0",
    "+1 234",
    "-3 thou",
    'a "quoted", one\nline two',
    "'",
    "é µ ·",
)


@pytest.fixture
def full(filled: Log) -> Log:
    """A log with something in every table, and texts that are hard to carry."""
    place = Place("J-1", "stand_off", "trial", "12")
    for note in TRICKY:
        capture.take(filled, place, "16", Circumstances("Ash", "FG-1", note=note), submission("note"))
    capture.correct(filled, place, 1, "15/16", "=mistyped", Circumstances("Ash"), submission("correct"))
    capture.strike(filled, place, 3, "-swarf", "Heron", submission("strike"))
    sheets.add(filled, read_sheet(SHEET.replace('version = "1"', 'version = "10"')), submission("sheet"))
    sheets.add(filled, read_sheet(SHEET.replace('version = "1"', 'version = "2"')), submission("sheet"))
    sheets.add(filled, read_sheet(SHEET.replace('code = "MR-1"', 'code = "MR/1"')), submission("sheet"))
    sheets.add(filled, read_sheet(SHEET.replace('code = "MR-1"', 'code = "MR_1"')), submission("sheet"))
    people.add_person(filled, Person("=Zed", "stores"), submission("person"))
    people.set_tolerance(filled, "FG-1", 0.75, submission("tolerance"))
    with filled.writing(submission("life")) as use:
        life.add_note(use, Note("lot-lot-B-7", "closed", "Heron", now(), "@soft", "sent back", None))
        use.insert("house_detail", id=new_id(), name="rate", code="labour_hour", value="60", entry=use.entry)
        back = use.rows("comebacks_all", stored.Comeback)[0]
        said = {"job": back.job, "returned": back.returned, "name": "finding", "value": "=bearing worn"}
        use.insert("comeback_detail", id=new_id(), **said, entry=use.entry)
        life.add_change(use, Change("new setup", now(), "Heron", case_type="MR-1"))
        shelves.add_size(use, ShimSize("S-A", 5.0, 5.05, "thou", None))
        shelves.add_minimum(use, "S-A", 5.0, 10)
        shelves.add_movement(use, ShimMove("S-A", 5.0, 5.05, now(), 20, "bought", None, "Ash", None))
    with filled.writing(submission("later, of an earlier time")) as use:
        moved = ShimMove("S-A", 5.0, 5.05, now().replace(year=2025), -3, "taken", "J-1", "Ash", "=x")
        shelves.add_movement(use, moved)
    return filled


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {str(f.relative_to(folder)): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


def told(reading: StoryReading) -> tuple[str, bool, str | None]:
    return reading.row.said, reading.row.counts, reading.row.note


def test_the_exchange_folder_out_in_and_out_again(full: Log, tmp_path: Path) -> None:
    export_folder(full, tmp_path / "one")
    again = Log(tmp_path / "again.duckdb")
    import_folder(again, tmp_path / "one", submission(), timezone="Europe/London")
    assert verify(again).sound
    export_folder(again, tmp_path / "two")
    assert bytes_in(tmp_path / "two") == bytes_in(tmp_path / "one")
    assert import_folder(full, tmp_path / "two", submission()).nothing_new
    with full.reading() as a, again.reading() as b:
        for query in ("sheet_dates", "strikes_all", "changes", "finding_notes"):
            one, two = (use.frame(query).drop("entry", strict=False) for use in (a, b))
            assert one.equals(two), query
    here, there = jobs.tell(full, "J-1").readings, jobs.tell(again, "J-1").readings
    assert [told(r) for r in here] == [told(r) for r in there]


def test_the_sample_workshop_out_in_and_out_again(tmp_path: Path) -> None:
    log, again = Log(tmp_path / "a.duckdb"), Log(tmp_path / "b.duckdb")
    import_folder(log, Path(__file__).parents[3] / "sample_data", submission(), timezone="Europe/London")
    export_folder(log, tmp_path / "one")
    import_folder(again, tmp_path / "one", submission(), timezone="Europe/London")
    export_folder(again, tmp_path / "two")
    assert bytes_in(tmp_path / "two") == bytes_in(tmp_path / "one")


def test_a_spreadsheet_takes_no_cell_for_a_formula(full: Log, tmp_path: Path) -> None:
    """What spreadsheets take for a formula: a cell that begins with = + - @, tab or line end (OWASP, CSV injection)."""
    export_folder(full, tmp_path / "out")
    cells = 0
    for file in (tmp_path / "out").glob("*.csv"):
        for row in csv.reader(io.StringIO(file.read_text(encoding="utf-8"), newline="")):
            for cell in row:
                cells += 1
                if cell[:1] in set("=+-@\t\r"):
                    assert re.fullmatch(r"[+-]\d[\d.,]*(e[+-]?\d+)?( ?\w+)?", cell), cell
    assert cells > 100
    text = (tmp_path / "out" / "readings.csv").read_text(encoding="utf-8")
    for marked in ("'=1+1", "''=1+1", "'@SUM(A1)", "'-2+3+cmd|", ",-3 thou,"):
        assert marked in text, marked


def test_a_strike_is_checked_like_everything_else(full: Log, tmp_path: Path) -> None:
    export_folder(full, tmp_path / "out")
    strikes = tmp_path / "out" / "strikes.csv"
    strikes.write_text(strikes.read_text() + "J-1,stand_off,trial,12,99,Nobody,x\nJ-9,stand_off,trial,12,x,Ash,y\n")
    with pytest.raises(FolderError) as caught:
        import_folder(Log(tmp_path / "new.duckdb"), tmp_path / "out", submission())
    said = "\n".join(map(str, caught.value.problems))
    for expected in ("3 attempt: '99'", "3 by: 'Nobody'", "4 job: 'J-9'", "4 attempt: 'x'"):
        assert f"strikes.csv:{expected}" in said, said


EMPTY_HERE = ("person_detail", "sign_on", "sign_off")


def test_the_parquet_copy_out_in_and_out_again(full: Log, tmp_path: Path) -> None:
    written = export_parquet(full, tmp_path / "one")
    again = Log(tmp_path / "again.duckdb")
    report = import_parquet(again, tmp_path / "one")
    assert report.sound
    assert short_digest(again) == short_digest(full)
    export_parquet(again, tmp_path / "two")
    assert bytes_in(tmp_path / "two") == bytes_in(tmp_path / "one")
    here, there = rows_in(full.path), rows_in(again.path)
    assert here.pop("migration")[0][:3] == there.pop("migration")[0][:3]
    assert here == there
    assert {name for name, _ in written} == {f"{t}.parquet" for t in here} | {"unit.parquet"}
    assert all(here[t] for t in here if t not in EMPTY_HERE), [t for t in here if not here[t]]
    people.add_person(again, Person("Birch", "technician"), submission())
    assert verify(again).sound


TYPES = {
    "string": (pl.String,),
    "integer": (pl.Int32, pl.Int64),
    "number": (pl.Float64,),
    "datetime": (pl.Datetime("us"),),
    "date": (pl.Date,),
    "boolean": (pl.Boolean,),
}


def test_the_descriptor_says_what_the_files_hold(full: Log, tmp_path: Path) -> None:
    """Data Package 2: resources with name, path and schema; Table Schema 2: fields of its types, keys that exist."""
    export_parquet(full, tmp_path / "out")
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    fields = {}
    for resource in package["resources"]:
        assert re.fullmatch(r"[-a-z0-9._/]+", resource["name"])
        frame = pl.read_parquet(tmp_path / "out" / resource["path"])
        fields[resource["name"]] = [f["name"] for f in resource["schema"]["fields"]]
        assert frame.columns == fields[resource["name"]]
        for field in resource["schema"]["fields"]:
            assert frame[field["name"]].dtype in TYPES[field["type"]]
            if field.get("constraints", {}).get("required"):
                assert frame[field["name"]].null_count() == 0
        assert not frame.select(resource["schema"]["primaryKey"]).is_duplicated().any()
    for resource in package["resources"]:
        for key in resource["schema"].get("foreignKeys", []):
            target = key["reference"]["resource"]
            assert set(key["reference"]["fields"]) <= set(fields[target])
            rows = pl.read_parquet(tmp_path / "out" / resource["path"]).select(key["fields"]).drop_nulls()
            there = pl.read_parquet(tmp_path / "out" / f"{target}.parquet").select(key["reference"]["fields"])
            assert set(rows.rows()) <= set(there.rows()), (resource["name"], key)
    of_comeback = next(r["schema"]["fields"] for r in package["resources"] if r["name"] == "comeback")
    assert next(f["unit"] for f in of_comeback if f["name"] == "hours") == "h"
    units_there = pl.read_parquet(tmp_path / "out" / "unit.parquet")
    assert dict(units_there.select("unit", "ucum").rows())["lbf·in"] == "[lbf_av].[in_i]"
    assert units_there["ucum"].null_count() == 0


ATOMS = {
    "m": (1, "m"), "g": (1e-3, "kg"), "s": (1, "s"), "rad": (1, ""), "K": (1, "K"),
    "[in_i]": (0.0254, "m"), "[ft_i]": (0.3048, "m"), "[mil_i]": (2.54e-5, "m"),
    "[lb_av]": (0.45359237, "kg"), "[oz_av]": (0.45359237 / 16, "kg"), "[lbf_av]": (0.45359237 * 9.80665, "N"),
    "N": (1, "N"), "gf": (9.80665e-3, "N"), "Pa": (1, "Pa"), "bar": (1e5, "Pa"),
    "[psi]": (0.45359237 * 9.80665 / 0.0254**2, "Pa"), "deg": (math.pi / 180, ""), "'": (math.pi / 10800, ""),
    "min": (60, "s"), "h": (3600, "s"), "%": (0.01, ""), "{rev}": (2 * math.pi, ""), "1": (1, ""), "16": (16, ""),
    "L": (1e-3, "m3"),
}  # fmt: skip
PREFIXES = {"k": 1e3, "M": 1e6, "m": 1e-3, "c": 1e-2, "u": 1e-6, "da": 10.0}


def size_of(atom: str) -> float:
    if atom in ATOMS:
        return float(ATOMS[atom][0])
    prefix = next(p for p in PREFIXES if atom.startswith(p) and atom[len(p) :] in ATOMS)
    return PREFIXES[prefix] * ATOMS[atom[len(prefix) :]][0]


def value_of(code: str) -> float:
    """A UCUM term in SI base units: `.` multiplies, `/` divides, digits at the end are a power."""
    value, sign = 1.0, 1
    for part in re.findall(r"[./]|[^./]+", code):
        if part in "./":
            sign = 1 if part == "." else -1
            continue
        atom, power = (part, 1) if part in ATOMS else (part.rstrip("23"), int(part[-1]) if part[-1] in "23" else 1)
        value *= size_of(atom) ** (power * sign)
    return value


@pytest.mark.parametrize("unit", sorted(set(PINT_NAME)))
def test_every_unit_of_the_trade_has_its_ucum_code(unit: str) -> None:
    code = ucum_code(unit)
    assert code is not None
    if unit in ("°C", "°F"):
        assert code == {"°C": "Cel", "°F": "[degF]"}[unit]
    else:
        assert value_of(code) == pytest.approx(units.base_factor(unit), rel=1e-12)


def test_a_unit_without_a_code_says_so() -> None:
    assert ucum_code("furlong") is None
    assert ucum_code("lbf·mile") is None


def test_a_parquet_copy_makes_only_a_new_log(full: Log, tmp_path: Path) -> None:
    export_parquet(full, tmp_path / "one")
    with pytest.raises(LogError, match="file already"):
        import_parquet(full, tmp_path / "one")
    with pytest.raises(InputError, match="not empty"):
        export_parquet(full, tmp_path / "one")


def altered(table: str, how: Callable[[pl.DataFrame], pl.DataFrame]) -> Callable[[Path], object]:
    def alter(folder: Path) -> None:
        how(pl.read_parquet(folder / f"{table}.parquet")).write_parquet(folder / f"{table}.parquet")

    return alter


def newer(folder: Path) -> None:
    package = folder / "datapackage.json"
    package.write_text(re.sub(r'step": \d+', 'step": 9999', package.read_text()))


SPOILT: dict[str, Callable[[Path], object]] = {
    "garbage": lambda f: (f / "reading.parquet").write_bytes(b"garbage" * 100),
    "cut short": lambda f: (f / "reading.parquet").write_bytes((f / "reading.parquet").read_bytes()[:500]),
    "no digests": lambda f: (f / "entry_digest.parquet").unlink(),
    "a parent missing": lambda f: (f / "job.parquet").unlink(),
    "a strange table": lambda f: shutil.copy(f / "job.parquet", f / "x; DROP TABLE job.parquet"),
    "a column missing": altered("job", lambda frame: frame.drop("opened")),
    "a strange column": altered("job", lambda frame: frame.with_columns(x=1)),
    "a value no log takes": altered("person", lambda frame: frame.with_columns(role=pl.lit("captain"))),
    "no descriptor": lambda f: (f / "datapackage.json").write_text("[]"),
    "newer": newer,
}


@pytest.mark.parametrize("what", sorted(SPOILT))
def test_a_spoilt_parquet_copy_makes_no_log(full: Log, tmp_path: Path, what: str) -> None:
    export_parquet(full, tmp_path / "one")
    SPOILT[what](tmp_path / "one")
    new = Log(tmp_path / "new.duckdb")
    with pytest.raises((FolderError, LogVersionError)):
        import_parquet(new, tmp_path / "one")
    assert not new.exists()


def test_a_parquet_copy_with_another_value_is_told(full: Log, tmp_path: Path) -> None:
    export_parquet(full, tmp_path / "one")
    file = tmp_path / "one" / "reading.parquet"
    pl.read_parquet(file).with_columns(note=pl.lit("x")).write_parquet(file)
    report = import_parquet(Log(tmp_path / "new.duckdb"), tmp_path / "one")
    assert not report.sound
    assert report.misfits
