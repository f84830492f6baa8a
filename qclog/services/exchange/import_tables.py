"""Checks the small tables of an exchange folder against each other and the log, and readies what is new."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.domain.jobs import DETAILS
from qclog.domain.moments import now, read_moment
from qclog.domain.names import fault_of
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Sheet, Version
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.errors import InputError, Problem, UnitError
from qclog.exchange.folder import Folder
from qclog.exchange.tables import BY_FILE
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.keeping.sheets import begins, parsed
from qclog.store.records import NAMES_OF_A_JOB

T = TypeVar("T")


@dataclass(slots=True)
class Known:
    """What rows may point at: what the log has, and what the folder adds as it is checked.

    `unread` names the tables of the folder that could not be read: what points into those can't be checked.
    """

    zone: ZoneInfo
    entry: int
    versions_in_log: dict[tuple[str, str], str]
    sheets: dict[str, list[Version]]
    people: dict[str, str]
    gauges: dict[str, stored.Gauge]
    gauge_checks: Counter[tuple[Any, ...]]
    jobs: dict[str, stored.Job]
    parts: Counter[tuple[Any, ...]]
    comebacks: dict[tuple[str, datetime], tuple[Any, ...]]
    unread: frozenset[str] = frozenset()
    new_sheets: list[tuple[Sheet, datetime | None]] = field(default_factory=list)
    new_rows: dict[str, pl.DataFrame] = field(default_factory=dict)


def known_in(seen: Snapshot) -> Known:
    """What the log has."""
    sheets: dict[str, list[Version]] = {}
    texts: dict[tuple[str, str], str] = {}
    for row in seen.rows("sheets", stored.SheetText):
        sheets.setdefault(row.case_type, []).append(Version(parsed(row.text), row.since))
        texts[(row.case_type, row.version)] = row.text
    return Known(
        zone=seen.zone,
        entry=seen.next_entry,
        versions_in_log=texts,
        sheets=sheets,
        people={row.person: row.role for row in seen.rows("people", stored.Person)},
        gauges={row.gauge: row for row in seen.rows("gauges", stored.Gauge)},
        gauge_checks=Counter(_check_key(row._asdict()) for row in seen.rows("gauge_checks", stored.GaugeEvent)),
        jobs={row.job: row for row in seen.rows("jobs_all", stored.Job)},
        parts=Counter(tuple(row) for row in seen.rows("parts_all", stored.Part)),
        comebacks={
            (r.job, r.returned): _comeback_values(r._asdict()) for r in seen.rows("comebacks_all", stored.Comeback)
        },
    )


def _check_key(row: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(row[k] for k in ("gauge", "checked_at", "event", "reference", "reading", "unit", "by", "note"))


def _comeback_values(row: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(row[k] for k in ("complaint", "finding", "attributable", "hours"))


class Cells:
    """Reads the cells of one table and gathers what is wrong."""

    def __init__(self, file: str, zone: ZoneInfo, unread: frozenset[str] = frozenset()) -> None:
        self.file = file
        self.zone = zone
        self.unread = unread
        self.problems: list[Problem] = []

    def wrong(self, row: dict[str, Any], column: str | None, reason: str) -> None:
        found = row.get(column) if column else None
        self.problems.append(Problem(self.file, row["line"], column, found, reason))

    def read(self, row: dict[str, Any], column: str, how: Callable[[str], T]) -> T | None:
        """The cell read by `how`; None if it is empty, or wrong and reported."""
        text = row[column]
        if text is None:
            return None
        try:
            return how(text)
        except (InputError, UnitError) as error:
            self.wrong(row, column, error.message + (f" ({error.hint})" if error.hint else ""))
        except (ValueError, OverflowError):
            self.wrong(row, column, f"is not {_WORDS.get(how, 'right')}")
        return None

    def moment(self, row: dict[str, Any], column: str) -> datetime | None:
        return self.read(row, column, lambda text: read_moment(text, self.zone))

    def points_at(self, row: dict[str, Any], column: str, known: Iterable[str], what: str) -> None:
        if row[column] is not None and row[column] not in known and TABLE_OF[what] not in self.unread:
            self.wrong(row, column, f"is a {what} that neither the folder nor the log has")

    def names(self, row: dict[str, Any], *columns: str) -> None:
        for column in columns:
            fault = None if row[column] is None else fault_of(row[column])
            if fault is not None:
                self.wrong(row, column, fault)


def _number(text: str) -> float:
    value = float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    if number_of(value) is None:
        raise ValueError(text)
    return value


def _size(text: str) -> float:
    value = _number(text)
    if value <= 0:
        raise ValueError(text)
    return value


def _hours(text: str) -> float:
    value = _number(text)
    if not 0 <= value <= 1e9:
        raise ValueError(text)
    return value


def _whole(text: str) -> int:
    value = int(text)
    if not 0 <= value <= 100_000:
        raise ValueError(text)
    return value


TABLE_OF = {"job": "jobs", "person": "people", "gauge": "gauges", "case type": "case_types"}
_WORDS: dict[Callable[[str], Any], str] = {
    _number: "a number",
    _size: "a number above 0",
    _hours: "a number of hours, 0 or more",
    _whole: "a whole number, 0 or more",
    date.fromisoformat: "a date (write 2026-03-14)",
}


def check_tables(folder: Folder, known: Known) -> list[Problem]:
    """Every problem of the sheets and small tables; `known` gains what they add."""
    known.unread = folder.unread
    problems = _check_sheets(folder, known)
    for name, check in _CHECKS.items():
        cells = Cells(f"{name}.csv", known.zone, known.unread)
        rows = folder.tables[name].drop_nulls(_REQUIRED[name]).iter_rows(named=True)
        check(cells, rows, known)
        problems += cells.problems
    return problems


def _check_sheets(folder: Folder, known: Known) -> list[Problem]:
    cells = Cells("sheet_dates.csv", known.zone, known.unread)
    dates = _sheet_dates(cells, folder, known)
    problems = cells.problems
    by_code: dict[str, list[tuple[str, Sheet]]] = {}
    for file, sheet in folder.sheets:
        by_code.setdefault(sheet.code, []).append((file, sheet))
    for code, found in by_code.items():
        undated = [file for file, s in found if s.in_force is None and (code, s.version) not in dates]
        if len(undated) > 1:
            reason = f"is one of {len(found)} versions of {code}: all but the first need in_force = a date"
            problems.append(Problem(undated[-1], None, "in_force", None, reason))
        for file, sheet, said in _from_the_first(found, dates, known):
            stored = known.versions_in_log.get((code, sheet.version))
            if stored is None and any(s.version == sheet.version and s.code == code for s, _ in known.new_sheets):
                problems.append(Problem(file, None, "version", sheet.version, "stands in two files"))
            elif stored is None:
                first = code not in known.sheets
                since = said if (code, sheet.version) in dates else begins(sheet, first, known.zone, now())
                known.sheets.setdefault(code, []).append(Version(sheet, since))
                known.new_sheets.append((sheet, since))
            elif stored != sheet.text:
                reason = f"is in the log with another text: give the changed sheet of {code} a new version"
                problems.append(Problem(file, None, "version", sheet.version, reason))
    return problems


def _from_the_first(
    found: list[tuple[str, Sheet]], dates: dict[tuple[str, str], datetime | None], known: Known
) -> list[tuple[str, Sheet, datetime | None]]:
    """A case type's sheets with what is said of their beginning, the first first (None: from the beginning)."""
    dated = [
        (file, sheet, dates.get((sheet.code, sheet.version), begins(sheet, True, known.zone, datetime.min)))
        for file, sheet in found
    ]
    return sorted(dated, key=lambda d: (d[2] is not None, d[2] or datetime.min))


def _sheet_dates(cells: Cells, folder: Folder, known: Known) -> dict[tuple[str, str], datetime | None]:
    """When versions came into force, where a file says so: (case type, version) to a moment or the beginning."""
    dates: dict[tuple[str, str], datetime | None] = {}
    versions = {(sheet.code, sheet.version) for _, sheet in folder.sheets}
    first: dict[str, int] = {}
    for row in folder.tables["sheet_dates"].drop_nulls(["case_type", "version"]).iter_rows(named=True):
        key = (row["case_type"], row["version"])
        since = cells.moment(row, "since")
        if key not in versions and key not in known.versions_in_log and "case_types" not in known.unread:
            cells.wrong(row, "version", f"is a version of {key[0]} that neither the folder nor the log has")
        elif key in dates:
            cells.wrong(row, "version", "stands there twice")
        elif row["since"] is None and first.setdefault(key[0], row["line"]) != row["line"]:
            cells.wrong(row, "since", f"must be given: line {first[key[0]]} has the version from the beginning")
        dates[key] = since
    return dates


def _people(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new = []
    for row in rows:
        cells.names(row, "person")
        role = known.people.get(row["person"])
        if role is not None and role != row["role"]:
            cells.wrong(row, "role", f"differs from what {row['person']} is already: {role}")
        elif role is None:
            known.people[row["person"]] = row["role"]
            new.append({"person": row["person"], "role": row["role"], "entry": known.entry})
    known.new_rows["person"] = pl.DataFrame(new)


def _gauges(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new = []
    for row in rows:
        cells.names(row, "gauge")
        gauge = {column: row[column] for column in _GAUGE} | {
            "unit": cells.read(row, "unit", units.parse_unit),
            "step": cells.read(row, "step", _size),
            "leaves": _leaves(cells, row),
            "calibration_due": cells.read(row, "calibration_due", date.fromisoformat),
        }
        before = known.gauges.get(row["gauge"])
        if before is None:
            known.gauges[row["gauge"]] = stored.Gauge(
                **gauge, tolerance=None, last_checked=None, last_dropped=None, withdrawn=False
            )
            new.append(gauge | {"entry": known.entry})
        else:
            for column, value in gauge.items():
                if value != (there := getattr(before, column)):
                    cells.wrong(row, column, f"differs from what the log has for it: {there}")
    types = _text(*_GAUGE) | {"step": pl.Float64, "calibration_due": pl.Date}
    known.new_rows["gauge"] = pl.DataFrame(new, schema_overrides=types)


_GAUGE = BY_FILE["gauges.csv"].columns


def _leaves(cells: Cells, row: dict[str, Any]) -> str | None:
    if row["leaves"] is None:
        return None
    try:
        sizes = [_size(leaf) for leaf in row["leaves"].split()]
    except ValueError:
        cells.wrong(row, "leaves", "must be sizes separated by spaces, as 1 1.5 2 3")
        return None
    return " ".join(f"{size:g}" for size in sorted(set(sizes)))


def _gauge_checks(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new = []
    seen: Counter[tuple[Any, ...]] = Counter()
    for row in rows:
        cells.points_at(row, "gauge", known.gauges, "gauge")
        cells.points_at(row, "by", known.people, "person")
        check = row | {
            "checked_at": cells.moment(row, "checked_at"),
            "reference": cells.read(row, "reference", _number),
            "reading": cells.read(row, "reading", _number),
            "unit": cells.read(row, "unit", units.parse_unit),
        }
        key = _check_key(check)
        seen[key] += 1
        if seen[key] > known.gauge_checks[key]:
            new.append(dict(zip(_CHECK_COLUMNS, key, strict=True)) | {"entry": known.entry})
    known.new_rows["gauge_check"] = pl.DataFrame(
        new,
        schema_overrides=dict.fromkeys(("reference", "reading"), pl.Float64) | _text("unit", "person", "note"),
        infer_schema_length=None,
    )


_CHECK_COLUMNS = ("gauge", "checked_at", "event", "reference", "reading", "unit", "person", "note")


def _text(*columns: str) -> dict[str, Any]:
    return dict.fromkeys(columns, pl.String)


def _jobs(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new, details = [], []
    for row in rows:
        cells.names(row, "job", *NAMES_OF_A_JOB)
        cells.points_at(row, "case_type", known.sheets, "case type")
        job = row | {
            "opened": cells.moment(row, "opened"),
            "dispatched": cells.moment(row, "dispatched"),
            "rebuild": cells.read(row, "rebuild", _whole),
        }
        _check_variant(cells, row, known)
        before = known.jobs.get(row["job"])
        if before is None:
            new.append({k: job[k] for k in ("job", "case_type", "opened")} | {"entry": known.entry})
            known.jobs[row["job"]] = stored.Job(*((job | {"entry": known.entry})[name] for name in stored.Job._fields))
        else:
            for column in ("case_type", "opened", *DETAILS):
                there = getattr(before, column)
                if job[column] is not None and there is not None and job[column] != there:
                    cells.wrong(row, column, f"differs from what {row['job']} has already: {there}")
        for name in DETAILS:
            if job[name] is not None and (before is None or getattr(before, name) is None):
                value = job[name].isoformat(sep=" ") if isinstance(job[name], datetime) else str(job[name])
                details.append({"job": row["job"], "name": name, "value": value, "entry": known.entry})
                if before is not None:
                    known.jobs[row["job"]] = before = before._replace(**{name: job[name]})
    known.new_rows["job"] = pl.DataFrame(new, infer_schema_length=None)
    known.new_rows["job_detail"] = pl.DataFrame(details)


def _check_variant(cells: Cells, row: dict[str, Any], known: Known) -> None:
    codes = {v.code for version in known.sheets.get(row["case_type"], ()) for v in version.sheet.variants}
    if row["variant"] is not None and codes and row["variant"] not in codes:
        cells.wrong(row, "variant", f"is not a variant of {row['case_type']} (there are: {', '.join(sorted(codes))})")


def _parts(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new = []
    seen: Counter[tuple[Any, ...]] = Counter()
    columns = BY_FILE["parts.csv"].columns
    for row in rows:
        cells.names(row, "part", "lot", "supplier")
        cells.points_at(row, "job", known.jobs, "job")
        cells.points_at(row, "sub_assembly", known.jobs, "job")
        key = tuple(row[c] for c in columns)
        seen[key] += 1
        if seen[key] > known.parts[key]:
            new.append(dict(zip(columns, key, strict=True)) | {"entry": known.entry})
    known.new_rows["part"] = pl.DataFrame(new, schema_overrides=_text(*columns), infer_schema_length=None)


def _comebacks(cells: Cells, rows: Iterable[dict[str, Any]], known: Known) -> None:
    new = []
    for row in rows:
        cells.points_at(row, "job", known.jobs, "job")
        returned = cells.moment(row, "returned")
        values = _comeback_values(row | {"hours": cells.read(row, "hours", _hours)})
        if returned is None:
            continue
        before = known.comebacks.get((row["job"], returned))
        if before is not None and before != values:
            cells.wrong(row, "returned", f"names a comeback that is there already with other values: {before}")
        elif before is None:
            known.comebacks[(row["job"], returned)] = values
            names = ("complaint", "finding", "attributable", "hours")
            new.append(
                {"job": row["job"], "returned": returned, "entry": known.entry} | dict(zip(names, values, strict=True))
            )
    known.new_rows["comeback"] = pl.DataFrame(
        new,
        schema_overrides=_text("complaint", "finding", "attributable") | {"hours": pl.Float64},
        infer_schema_length=None,
    )


_CHECKS: dict[str, Callable[[Cells, Iterable[dict[str, Any]], Known], None]] = {
    "people": _people,
    "gauges": _gauges,
    "gauge_checks": _gauge_checks,
    "jobs": _jobs,
    "parts": _parts,
    "comebacks": _comebacks,
}
_REQUIRED = {
    "people": ["person", "role"],
    "gauges": ["gauge", "kind"],
    "gauge_checks": ["gauge", "event"],
    "jobs": ["job", "case_type"],
    "parts": ["job", "part"],
    "comebacks": ["job"],
}
