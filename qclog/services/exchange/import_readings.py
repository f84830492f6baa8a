"""Checks the readings of an exchange folder, a million at a time, and readies them for the log.

What many rows share (a place, a text) is worked out once and joined back.
"""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction
from typing import Any

import polars as pl

from qclog.domain.moments import read_moment
from qclog.domain.places import Place
from qclog.domain.sheets.casetypes import version_at
from qclog.domain.speech import readings
from qclog.domain.speech.amounts import fitting_unit
from qclog.errors import InputError, Problem, QclogError
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.exchange.import_tables import TABLE_OF, Known
from qclog.services.jobs.capture import check_conditions, check_place, check_words, leaves_in

FILE = "readings.csv"
_PLACE = ["job", "characteristic", "stage", "position"]
_KEY = [*_PLACE, "attempt"]
_PLAIN = r"^[+-]?[0-9]{1,9}(\.[0-9]{1,9})?$"


class _Rows:
    """The readings under check: rows that failed drop out, so that one fault is reported once."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame
        self.problems: list[Problem] = []

    def refuse(self, bad: pl.Expr, column: str, reason: str | pl.Expr) -> None:
        """Report and drop the rows where `bad` holds."""
        why = pl.lit(reason) if isinstance(reason, str) else reason
        frame = self.frame.with_columns(bad=bad.fill_null(value=False), why=why)
        if not frame["bad"].any():
            return
        told = frame.filter("bad").select("line", pl.col(column).cast(pl.String), "why")
        self.problems += [Problem(FILE, line, column, found, said) for line, found, said in told.rows()]
        self.frame = frame.filter(~pl.col("bad")).drop("bad", "why")

    def join_worked_out(self, keys: list[str], worked_out: pl.DataFrame) -> None:
        self.frame = self.frame.join(worked_out, on=keys, how="left", nulls_equal=True, maintain_order="left")


def check_readings(seen: Snapshot, incoming: pl.DataFrame, known: Known) -> tuple[pl.DataFrame, list[Problem]]:
    """The rows to add, in the log's columns, and every problem.

    Rows that the log has already are left out; a row that names a stored reading with another value is a problem.
    """
    rows = _Rows(incoming.drop_nulls(["job", "characteristic", "stage", "reading", "technician", "taken_at"]))
    if rows.frame.is_empty():
        return pl.DataFrame(), rows.problems
    _check_names(rows, known)
    _read_moments(rows, known)
    _read_attempts(rows)
    _check_places(rows, known)
    _read_values(rows, known)
    _check_twice(rows)
    _leave_out_stored(seen, rows)
    _check_corrections(seen, rows)
    return _ready(rows.frame, known.entry), rows.problems


def _check_names(rows: _Rows, known: Known) -> None:
    jobs = pl.DataFrame(
        {
            "job": list(known.jobs),
            "case_type": [j.case_type for j in known.jobs.values()],
            "variant": [j.variant for j in known.jobs.values()],
        },
        schema={"job": pl.String, "case_type": pl.String, "variant": pl.String},
    )
    rows.join_worked_out(["job"], jobs)
    _need(rows, pl.col("case_type").is_null(), "job", "job", known)
    for column, names, what in (("technician", known.people, "person"), ("gauge", known.gauges, "gauge")):
        missing = pl.col(column).is_not_null() & ~pl.col(column).is_in(list(names))
        _need(rows, missing, column, what, known)
    with_sheet = list(known.sheets)
    rows.frame = rows.frame.filter(pl.col("case_type").is_in(with_sheet))  # reported with jobs.csv


def _need(rows: _Rows, missing: pl.Expr, column: str, what: str, known: Known) -> None:
    """Refuse what points at nothing; where the table it points into could not be read, only that is reported."""
    if TABLE_OF[what] in known.unread:
        rows.frame = rows.frame.filter(~missing)
    else:
        rows.refuse(missing, column, f"is a {what} that neither the folder nor the log has")


def _read_moments(rows: _Rows, known: Known) -> None:
    texts = rows.frame.select("taken_at").unique(maintain_order=True)
    quick = texts["taken_at"].str.to_datetime("%Y-%m-%dT%H:%M:%S%z", strict=False, time_unit="us")
    texts = texts.with_columns(moment=quick.dt.convert_time_zone("UTC").dt.replace_time_zone(None))
    slow = texts.filter(pl.col("moment").is_null())["taken_at"].to_list()
    worked_out: dict[str, datetime | None] = {}
    for text in slow:
        try:
            worked_out[text] = read_moment(text, known.zone)
        except InputError:
            worked_out[text] = None
    if slow:
        found = pl.DataFrame(
            {"taken_at": slow, "slow": list(worked_out.values())},
            schema={"taken_at": pl.String, "slow": pl.Datetime("us")},
        )
        texts = texts.join(found, on="taken_at", how="left").select("taken_at", moment=pl.coalesce("moment", "slow"))
    year = pl.col("moment").dt.year()
    texts = texts.with_columns(moment=pl.when(year.is_between(1900, 2200)).then("moment"))
    rows.join_worked_out(["taken_at"], texts)
    rows.refuse(pl.col("moment").is_null(), "taken_at", "is not a time (write 2026-03-14T09:30, ISO 8601)")


def _read_attempts(rows: _Rows) -> None:
    """Attempts as numbers; those not given are counted at each place in the order of the file."""
    for column in ("attempt", "replaces"):
        number = pl.col(column).cast(pl.Int32, strict=False)
        wrong = pl.col(column).is_not_null() & ~number.is_between(1, 100_000).fill_null(value=False)
        rows.refuse(wrong, column, "is not a whole number from 1")
        rows.frame = rows.frame.with_columns(number)
    rows.frame = rows.frame.with_columns(pl.col("position").fill_null(""))
    blank = pl.col("attempt").is_null()
    if not rows.frame["attempt"].is_null().any():
        return
    if rows.frame["attempt"].is_null().all() and not rows.frame.select(_PLACE).is_duplicated().any():
        rows.frame = rows.frame.with_columns(attempt=pl.lit(1, dtype=pl.Int32))
        return
    given = pl.col("attempt").max().over(_PLACE).fill_null(0)
    counted = blank.cast(pl.Int32).cum_sum().over(_PLACE)
    rows.frame = rows.frame.with_columns(
        attempt=pl.when(blank).then(given + counted).otherwise("attempt").cast(pl.Int32)
    )


def _check_places(rows: _Rows, known: Known) -> None:
    """The sheet's version in force and whether it has the place, once for each distinct kind of place."""
    _find_versions(rows, known)
    keys = ["case_type", "version_number", "variant", "characteristic", "stage", "position", "conditions"]
    kinds = rows.frame.select(keys).unique(maintain_order=True)
    checked = []
    for row in kinds.iter_rows(named=True):
        sheet = known.sheets[row["case_type"]][row["version_number"]].sheet
        answer: dict[str, Any] = row | {"own_unit": None, "in_words": None, "fault": None, "fault_in": "job"}
        try:
            characteristic = sheet.characteristic(row["characteristic"])
            answer |= {"own_unit": characteristic.unit, "in_words": characteristic.in_words}
            check_place(characteristic, Place("", characteristic.code, row["stage"], row["position"]), row["variant"])
            check_conditions(characteristic, tuple((row["conditions"] or "").split()))
        except QclogError as error:
            answer |= {"fault": error.message + (f" ({error.hint})" if error.hint else ""), "fault_in": error.field}
        checked.append(answer)
    schema = {k: kinds.schema[k] for k in keys} | {
        "own_unit": pl.String,
        "in_words": pl.Boolean,
        "fault": pl.String,
        "fault_in": pl.String,
    }
    rows.join_worked_out(keys, pl.DataFrame(checked, schema=schema))
    for column in ("characteristic", "stage", "position", "conditions"):
        rows.refuse(pl.col("fault").is_not_null() & (pl.col("fault_in") == column), column, pl.col("fault"))


def _find_versions(rows: _Rows, known: Known) -> None:
    if all(len(versions) == 1 for versions in known.sheets.values()):
        rows.frame = rows.frame.with_columns(version_number=pl.lit(0, dtype=pl.Int64))
        return
    keys = ["case_type", "moment"]
    moments = rows.frame.select(keys).unique()
    numbers = []
    for case_type, moment in moments.rows():
        versions = known.sheets[case_type]
        numbers.append(versions.index(version_at(versions, moment)))
    rows.join_worked_out(keys, moments.with_columns(version_number=pl.Series(numbers, dtype=pl.Int64)))


def _read_values(rows: _Rows, known: Known) -> None:
    """What each distinct text says, in the characteristic's own unit; plain numbers all at once."""
    unit = pl.col("unit")
    plain = (
        ~pl.col("in_words") & (unit.is_null() | (unit == pl.col("own_unit"))) & pl.col("reading").str.contains(_PLAIN)
    )
    frame = rows.frame.with_columns(plain=plain)
    number = pl.when("plain").then("reading").otherwise(None).cast(pl.Float64)
    frame = frame.with_columns(number=number)
    keys = ["case_type", "version_number", "characteristic", "reading", "unit", "gauge"]
    others = frame.filter(~pl.col("plain")).select(keys).unique(maintain_order=True)
    said = [_said(row, known) for row in others.iter_rows(named=True)]
    schema = {k: frame.schema[k] for k in keys} | {
        "kind": pl.String,
        "low": pl.Float64,
        "high": pl.Float64,
        "word": pl.String,
        "said_unit": pl.String,
        "fault": pl.String,
    }
    found = pl.DataFrame(said, schema=schema)
    rows.frame = frame.drop("fault")
    rows.join_worked_out(keys, found)
    rows.frame = rows.frame.with_columns(
        kind=pl.when("plain").then(pl.lit("point")).otherwise("kind"),
        low=pl.when("plain").then("number").otherwise("low"),
        high=pl.when("plain").then("number").otherwise("high"),
        said_unit=pl.when("plain").then("own_unit").otherwise("said_unit"),
    )
    rows.refuse(pl.col("fault").is_not_null(), "reading", pl.col("fault"))


def _said(row: dict[str, Any], known: Known) -> dict[str, Any]:
    characteristic = known.sheets[row["case_type"]][row["version_number"]].sheet.characteristic(row["characteristic"])
    answer: dict[str, Any] = row | dict.fromkeys(("kind", "low", "high", "word", "said_unit", "fault"))
    try:
        unit = characteristic.unit if row["unit"] is None else fitting_unit(row["unit"], characteristic.unit)
        said = readings.read(
            row["reading"], unit=unit, leaves=_leaves(known, row["gauge"], unit), categories=characteristic.categories
        )
        check_words(characteristic, said)
        own = said if said.kind in ("word", "none") else readings.convert_said(said, characteristic.unit)
    except QclogError as error:
        return answer | {"fault": error.message + (f" ({error.hint})" if error.hint else "")}
    return answer | {
        "kind": said.kind,
        "low": None if own.low is None else float(own.low),
        "high": None if own.high is None else float(own.high),
        "word": said.word,
        "said_unit": None if said.kind in ("word", "none") else said.unit,
    }


def _leaves(known: Known, gauge: str | None, unit: str) -> tuple[Fraction, ...]:
    found = known.gauges.get(gauge) if gauge is not None else None
    if found is None or not found.leaves:
        return ()
    return leaves_in(found.leaves, found.unit, unit)


def _check_twice(rows: _Rows) -> None:
    keys = rows.frame.select(_KEY)
    if not keys.is_duplicated().any():
        return
    first = pl.col("line").min().over(_KEY)
    rows.refuse(pl.col("line") > first, "attempt", pl.format("is at a place that line {} has already", first))


def _leave_out_stored(seen: Snapshot, rows: _Rows) -> None:
    stored = seen.readings_of(rows.frame)
    if stored.is_empty():
        return
    values = ["kind", "low", "high", "word"]
    stored = stored.with_columns(pl.col("attempt").cast(pl.Int32), stored=pl.lit(True)).rename(
        {v: f"stored_{v}" for v in values}
    )
    rows.join_worked_out(_KEY, stored)
    same = pl.all_horizontal(pl.col(v).eq_missing(pl.col(f"stored_{v}")) for v in values)
    other = pl.col("stored") & ~same
    rows.refuse(other, "reading", "differs from the reading the log has there: send a correction (replaces, reason)")
    rows.frame = rows.frame.filter(pl.col("stored").is_null())


def _check_corrections(seen: Snapshot, rows: _Rows) -> None:
    if rows.frame["replaces"].is_null().all():
        return
    rows.refuse(
        pl.col("replaces").is_not_null() & pl.col("reason").is_null(), "reason", "must be given for a correction"
    )
    rows.refuse(pl.col("replaces") >= pl.col("attempt"), "replaces", "must be an earlier attempt")
    asked = rows.frame.filter(pl.col("replaces").is_not_null())
    stored = seen.readings_of(asked).select(_KEY)
    there = pl.concat([stored.cast({"attempt": pl.Int32}), rows.frame.select(_KEY)]).unique()
    there = there.rename({"attempt": "replaces"}).with_columns(there=pl.lit(True))
    rows.join_worked_out([*_PLACE, "replaces"], there)
    rows.refuse(
        pl.col("replaces").is_not_null() & pl.col("there").is_null(), "replaces", "is an attempt that is not there"
    )


def _ready(frame: pl.DataFrame, entry: int) -> pl.DataFrame:
    return frame.select(
        "job",
        "characteristic",
        "stage",
        "position",
        "attempt",
        said="reading",
        said_unit="said_unit",
        kind="kind",
        low="low",
        high="high",
        unit="own_unit",
        word="word",
        gauge="gauge",
        technician="technician",
        taken_at="moment",
        conditions="conditions",
        note="note",
        replaces="replaces",
        reason="reason",
        entry=pl.lit(entry, dtype=pl.Int64),
    )
