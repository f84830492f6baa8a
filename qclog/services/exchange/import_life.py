"""Checks the notes on findings and the recorded changes of an exchange folder, and readies what is new."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.domain.jobs import ROLES
from qclog.errors import Problem
from qclog.exchange.folder import Folder
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.exchange.import_tables import Cells, Known
from qclog.services.watch.finding_life import SETTLED

_NOTE = ("finding", "state", "found", "done", "told", "by", "noted_at")
_CHANGE = ("kind", "case_type", "characteristic", "identifier", "level", "since", "note", "by")
_MAY_BE_EMPTY = ("found", "done", "told", "case_type", "characteristic", "identifier", "level", "note")

Row = dict[str, Any]


def check_life(seen: Snapshot, folder: Folder, known: Known) -> tuple[dict[str, pl.DataFrame], list[Problem]]:
    """The rows to add to each table of the log, and every problem."""
    frames, problems = {}, []
    kept: tuple[list[stored.FindingNote], list[stored.Change]] = (
        seen.rows("finding_notes", stored.FindingNote),
        seen.rows("changes", stored.Change),
    )
    for table, name, rows, columns, moment, check in (
        ("finding_notes", "finding_note", kept[0], _NOTE, "noted_at", _note_faults),
        ("changes", "change", kept[1], _CHANGE, "since", _change_faults),
    ):
        cells = Cells(f"{table}.csv", known.zone, known.unread)
        there = Counter(tuple(getattr(row, c) for c in columns) for row in rows)
        met: Counter[tuple[Any, ...]] = Counter()
        new = []
        for row in folder.tables[table].iter_rows(named=True):
            cells.points_at(row, "by", known.people, "person")
            _too_long(cells, row, columns)
            when = cells.moment(row, moment)
            faults = list(check(row, known))
            for column, reason in faults:
                cells.wrong(row, column, reason)
            if faults or when is None or None in (row["by"], row[columns[0]]):
                continue
            said = tuple((row | {moment: when})[c] for c in columns)
            met[said] += 1
            if met[said] > there[said]:
                named = dict(zip(columns, said, strict=True))
                new.append({"person" if k == "by" else k: v for k, v in named.items()} | {"entry": known.entry})
        texts = {c: pl.String for c in _MAY_BE_EMPTY if c in columns}
        frames[name] = pl.DataFrame(new, schema_overrides=texts, infer_schema_length=None)
        problems += cells.problems
    frames["person_detail"], unclear = _people_since(seen, folder, known)
    return frames, problems + unclear


def _people_since(seen: Snapshot, folder: Folder, known: Known) -> tuple[pl.DataFrame, list[Problem]]:
    """Roles given and leavings said since people were added; what the log says already is left out."""
    cells = Cells("person_changes.csv", known.zone, known.unread)
    there = {(row.person, row.what): row.value or "" for row in seen.rows("person_changes", stored.PersonChange)}
    new: dict[tuple[str, str], str] = {}
    for row in folder.tables["person_changes"].iter_rows(named=True):
        cells.points_at(row, "person", known.people, "person")
        person, what, value = row["person"], row["what"], row["value"] or ""
        if None in (person, what):
            continue
        allowed = ROLES if what == "role" else ("yes", "")
        if value not in allowed:
            cells.wrong(row, "value", f"must be one of {', '.join(a or 'nothing' for a in allowed)}")
        elif (person, what) in new:
            cells.wrong(row, "person", f"has two lines for {what}")
        elif there.get((person, what)) != value:
            new[person, what] = value
    rows = [{"person": p, "name": w, "value": v, "entry": known.entry} for (p, w), v in new.items()]
    return pl.DataFrame(rows), cells.problems


def _too_long(cells: Cells, row: Row, columns: Iterable[str]) -> None:
    for column, most in (("finding", 500), ("level", 200)):
        if column in columns and row[column] is not None and len(row[column]) > most:
            cells.wrong(row, column, f"is longer than {most} letters")


def _note_faults(row: Row, _known: Known) -> Iterable[tuple[str, str]]:
    if row["state"] in SETTLED and row["found"] is None:
        yield "found", f"is missing: a finding that is {row['state']} says what was found"
    if row["state"] == "closed" and row["done"] is None:
        yield "done", "is missing: a finding that is closed says what was done"


def _change_faults(row: Row, known: Known) -> Iterable[tuple[str, str]]:
    if (row["case_type"] is None) == (row["identifier"] is None):
        yield "case_type", "or identifier says what changed: one of them, not both"
    if (row["identifier"] is None) != (row["level"] is None):
        yield "level", "and identifier go together"
    sheets = known.sheets.get(row["case_type"]) if row["case_type"] is not None else None
    if row["case_type"] is not None and sheets is None and "case_types" not in known.unread:
        yield "case_type", "is a case type that neither the folder nor the log has"
    if row["characteristic"] is not None:
        codes = {c.code for version in sheets or () for c in version.sheet.characteristics}
        if row["case_type"] is None:
            yield "characteristic", "needs its case_type"
        elif sheets and row["characteristic"] not in codes:
            yield "characteristic", f"is not a characteristic of {row['case_type']}"
    tables: dict[str, tuple[str, dict[str, Any]]] = {
        "gauge": ("gauges", known.gauges),
        "technician": ("people", dict(known.people)),
    }
    named = tables.get(row["identifier"])
    if named is not None and row["level"] is not None and row["level"] not in named[1] and named[0] not in known.unread:
        yield "level", f"is a {row['identifier']} that neither the folder nor the log has"
