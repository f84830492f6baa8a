"""What must hold for any bytes at all: the parser of readings, the reader of sheets, the reader of CSV tables.

Each target takes bytes, returns whether they were accepted, and raises for a crash or a wrong acceptance.
"""

from __future__ import annotations

import csv
import io
import re
import tempfile
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from qclog.domain.sheets.casetype_file import read_sheet
from qclog.domain.speech.readings import canonical, convert_said, doubt, read, read_back
from qclog.errors import ReadingError, SheetError
from qclog.exchange.csv_file import read_table
from qclog.exchange.tables import TABLES

UNITS = ("thou", "mm", "lbf·in", "N·m", "kPa", "°C", "°", "count", "%", "N")
_FOLDER = tempfile.TemporaryDirectory(prefix="fuzz", dir="/dev/shm" if Path("/dev/shm").is_dir() else None)  # noqa: S108 - a file in memory


def check_reading(data: bytes) -> bool:
    """A reading: the first byte chooses unit and leaves, the rest is what was said."""
    choice = data[0] if data else 0
    unit = UNITS[choice % len(UNITS)]
    leaves = tuple(Fraction(n) for n in range(2, 26)) if choice & 128 else ()
    text = data[1:].decode("utf-8", "surrogateescape" if choice & 64 else "replace")
    try:
        said = read(text, unit=unit, leaves=leaves, categories=("toe", "heel") if choice & 32 else ())
    except ReadingError as refused:
        assert str(refused)
        return False
    assert said.text == text
    meaning = (said.kind, said.low, said.high, said.unit, said.reason, said.word)
    again = read(canonical(said), unit=unit, leaves=leaves, categories=("toe", "heel") if choice & 32 else ())
    assert (again.kind, again.low, again.high, again.unit, again.reason, again.word) == meaning, (text, meaning)
    assert read_back(said)
    if said.low is not None and said.high is not None:
        assert (said.low == said.high) == (said.kind == "point")
        assert said.low <= said.high
    assert all(v is None or abs(v) < Fraction(10) ** 300 for v in (said.low, said.high))
    if said.kind not in ("word", "none"):
        own = convert_said(said, unit)
        assert own.unit == unit
        doubt(said, unit=unit, plausible=(Fraction(5), Fraction(60)), step=Fraction(1))
    return True


def check_sheet(data: bytes) -> bool:
    """A case-type sheet: accepted whole, with its text as it was, or refused with every problem placed."""
    text = data.decode("utf-8", "replace")
    try:
        sheet = read_sheet(text, "fuzz.toml")
    except SheetError as refused:
        assert refused.problems or str(refused)
        assert all(p.reason for p in refused.problems)
        return False
    assert sheet.text == text
    assert sheet.code
    assert sheet.version
    assert len({c.code for c in sheet.characteristics}) == len(sheet.characteristics)
    for characteristic in sheet.characteristics:
        for limits in dict(characteristic.limits).values():
            assert limits.lower is None or limits.upper is None or limits.lower <= limits.upper
    assert read_sheet(sheet.text, "fuzz.toml") == sheet
    return True


WHITE = "".join(c for c in map(chr, range(0x3001)) if c.isspace() and c not in "\x1c\x1d\x1e\x1f")  # as Unicode has it
_MARKED = re.compile(r"'+[=+\-@\t\r]")


def check_csv(data: bytes) -> bool:
    """A CSV table: what is accepted is what Python's own reader finds in it, cell for cell."""
    table = TABLES[(data[0] if data else 0) % len(TABLES)]
    path = Path(_FOLDER.name) / table.file
    path.write_bytes(data[1:])
    frame, problems = read_table(path, table)
    assert all(p.reason for p in problems)
    if problems:
        return False
    reader = csv.reader(io.StringIO(data[1:].decode("utf-8-sig"), newline=""), strict=True)
    header = [name.strip() for name in next(reader)]
    rows = [row for row in reader if row]
    assert len(rows) == len(frame)
    for at, name in enumerate(header):
        expected = [_cell(row[at]) for row in rows]
        assert frame[name].to_list() == expected, (name, expected)
    for name in set(table.columns) - set(header):
        assert frame[name].null_count() == len(frame)
    return True


def _cell(text: str) -> str | None:
    stripped = text.strip(WHITE)
    return (stripped[1:] if _MARKED.match(stripped) else stripped) or None


SHEET = (
    'code = "X"\nname = "x"\nfamily = "f"\nversion = "1"\n[[variant]]\ncode = "A"\nname = "a"\n[[characteristic]]\n'
    'code = "a"\nname = "A"\nunit = "thou"\nstep = 0.5\nstages = ["trial", "final"]\npositions = ["12", "3"]\n'
    'limits.any = { lower = 1, upper = 2.5 }\nplausible = [0, 9]\n[[characteristic]]\ncode = "b"\nname = "B"\n'
    'unit = "thou"\nstages = ["final"]\nformula = "2 * mean(a) - max(a)"\nconditions = ["dry|oiled"]\n'
    'parts = ["bearing"]\n'
)
READINGS = (
    "job,characteristic,stage,position,attempt,reading,unit,gauge,technician,taken_at,conditions,note,replaces,reason"
)
SEEDS: dict[str, list[bytes]] = {
    "reading": [
        bytes([choice]) + text.encode()
        for choice in (0, 128, 33)
        for text in (
            "16", "15/16", "-0.5", "1 1/2", "0,41 mm", "15 goes 16 no", "16 goes, 17 doesn't", "no leaf enters",
            "not accessible", "not measured: dropped", "sixteen and a half", "<2", ">25 thou", "5 tight", "toe", "pass",
            "1.5 lb-in", "20 °C", "1e3", "½", "12 ft 3", "1,234", "", "\x00", "٣", "1/0", "9" * 210, "2 %°C",
        )
    ],
    "sheet": [SHEET.encode(), b"", b"code = 1", b"[[characteristic]]", SHEET.replace("thou", "N").encode(), b"\xff"],
    "csv": [
        bytes([n]) + (",".join(table.columns) + "\n" + ",".join("1" for _ in table.columns) + "\n").encode()
        for n, table in enumerate(TABLES)
    ]
    + [
        bytes([6]) + text.encode()
        for text in (
            READINGS + "\nJ,c,final,,1,'=1,,,A,2026-01-01,,\"a\nb\",,\n",
            READINGS + "\r\n\"J\",c,final, ,,\"\"\"\",,,A,2026-01-01,,,,\r\n\r\n",
            "job;reading\n1;2\n",
            READINGS + "\n1,2\n",
        )
    ],
}  # fmt: skip
TARGETS: dict[str, Callable[[bytes], bool]] = {"reading": check_reading, "sheet": check_sheet, "csv": check_csv}
