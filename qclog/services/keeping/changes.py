"""Recorded changes of the work: each starts a new reference, and the old one stays."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from qclog.domain.findings import CHANGED, CHANGES, Change
from qclog.domain.rights import Act
from qclog.errors import InputError
from qclog.services.keeping import rights, sheets
from qclog.services.keeping.people import choose
from qclog.store import records
from qclog.store.findings import add_change, changes_in
from qclog.store.log import Log, Submission

MOST_OF_IT = 0.5


def record_change(log: Log, change: Change, submission: Submission) -> None:
    """Record a change of the work. InputError or UnknownNameError for what the log doesn't know."""
    choose(change.kind, CHANGES, "kind")
    if (change.case_type is None) == (change.identifier is None):
        raise InputError(
            "say what changed: a case type, or one gauge, lot, batch or person",
            field="change",
            hint="--case-type CODE [--characteristic CODE], or --gauge NAME",
        )
    with log.writing(submission) as use:
        rights.need(use, submission.by, Act.RECORD_CHANGE)
        records.need(use, "person", "person", change.person, "person")
        rights.need_name(use, submission.by, change.person)
        if change.case_type is not None:
            records.need(use, "sheet", "case_type", change.case_type, "case type")
            if change.characteristic is not None:
                sheets.latest(use, change.case_type).characteristic(change.characteristic)
        elif change.identifier is not None:
            choose(change.identifier, CHANGED, "identifier")
            table, column = {
                "gauge": ("gauge", "gauge"),
                "technician": ("person", "person"),
                "lot": ("part", "lot"),
                "machining_batch": ("job_detail", "value"),
            }[change.identifier]
            records.need(use, table, column, str(change.level), change.identifier.replace("_", " "))
        add_change(use, change)


def list_changes(log: Log) -> tuple[Change, ...]:
    """Every recorded change, the oldest first."""
    with log.reading() as use:
        return changes_in(use)


def changes_of(
    changes: Sequence[Change], case_type: str, characteristic: str, rows: pl.DataFrame
) -> tuple[Change, ...]:
    """Those that start a new reference for a characteristic, the oldest first.

    `rows` has `taken_at` and `gauge` (null, one name, or several with commas between). A gauge that was re-set starts
    one where it took more than half of the readings before; elsewhere the other gauges still hold the reference.
    """
    mine = []
    for change in changes:
        own = change.case_type == case_type and change.characteristic in (None, characteristic)
        if own or (change.identifier == "gauge" and _took_most(rows, change)):
            mine.append(change)
    return tuple(mine)


def _took_most(rows: pl.DataFrame, change: Change) -> bool:
    before = rows.filter((pl.col("taken_at") < change.since) & pl.col("gauge").is_not_null())
    if before.is_empty():
        return False
    with_it = before["gauge"].str.split(", ").list.contains(change.level)
    return float(with_it.mean() or 0.0) > MOST_OF_IT  # type: ignore[arg-type] # a share of booleans


def eras(rows: pl.DataFrame, changes: Sequence[Change]) -> pl.Series:
    """For each row, how many of the changes came before it was taken (0: the reference from the beginning)."""
    number = pl.lit(0, dtype=pl.Int64)
    for since in sorted({change.since for change in changes}):
        number = number + (pl.col("taken_at") >= since).cast(pl.Int64)
    return rows.select(era=pl.repeat(0, pl.len(), dtype=pl.Int64) + number)["era"]


def change_text(change: Change) -> str:
    """`new setup: relined boring bar`, or the kind alone."""
    about = f" of {change.level}" if change.level is not None else ""
    return f"{change.kind}{about}" + (f": {change.note}" if change.note else "")


def about_text(change: Change) -> str:
    """What a change is about: `LR-2 recess`, `gauge DT-2`."""
    if change.case_type is not None:
        return f"{change.case_type} {change.characteristic or '(all characteristics)'}"
    return f"{(change.identifier or '').replace('_', ' ')} {change.level}"


def effect_text(change: Change) -> str:
    """What follows from a change."""
    if change.case_type is not None:
        return "limits and the watch start afresh from then, the old ones stay"
    if change.identifier == "gauge":
        return "where this gauge took most of the readings, limits and the watch start afresh from then"
    return "kept and listed; it moves no limits (name a --case-type for that)"
