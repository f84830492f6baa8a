"""The whole log as Parquet files with a Data Package descriptor (datapackage.org), and back into a new log.

Every table as it is stored, the chain of digests among them, so a log made from the copy verifies as the first did.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.domain.quantities.ucum import ucum_code
from qclog.domain.quantities.unit_names import WORDS
from qclog.errors import FolderError, Problem
from qclog.services.keeping.backup import verify_new
from qclog.services.keeping.output import new_folder
from qclog.services.keeping.verifying import Report
from qclog.store.log import Log, Use

DESCRIPTOR = "datapackage.json"
_UNITS = "unit"
_MOST_BYTES = 20_000_000_000
_TYPES = {
    "VARCHAR": "string",
    "UUID": "string",
    "BIGINT": "integer",
    "INTEGER": "integer",
    "DOUBLE": "number",
    "BOOLEAN": "boolean",
    "DATE": "date",
    "TIMESTAMP": "datetime",
}
_UNIT_COLUMNS = {"unit", "said_unit"}
_OF_HOURS = {("comeback", "hours")}

Row = dict[str, Any]


def is_parquet_copy(folder: Path) -> bool:
    """Whether the folder is one that `export_parquet` wrote."""
    return (folder / DESCRIPTOR).is_file() and any(folder.glob("*.parquet"))


def export_parquet(log: Log, folder: Path) -> list[tuple[str, int]]:
    """Write every table to `folder`, and what describes them; (file, rows) each.

    InputError if the folder holds something already; OutputError if it can't be written: then nothing is there.
    """
    with log.reading() as use:
        frames = {name: use.whole_table(name) for name in sorted(use.table_names())}
        frames[_UNITS] = _units(use)
        described = _describe(use, frames)
    with new_folder(folder) as part:
        for name, frame in frames.items():
            frame.write_parquet(part / f"{name}.parquet")
        text = json.dumps(described, ensure_ascii=False, indent=1) + "\n"
        (part / DESCRIPTOR).write_text(text, encoding="utf-8", newline="")
    return [(f"{name}.parquet", len(frame)) for name, frame in frames.items()]


def _units(use: Use) -> pl.DataFrame:
    units = [row.unit for row in use.rows("units_used", stored.UnitUsed)]
    columns = {
        "unit": units,
        "ucum": [ucum_code(unit) for unit in units],
        "in_words": [WORDS.get(unit, ("", ""))[1] or None for unit in units],
    }
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _describe(use: Use, frames: dict[str, pl.DataFrame]) -> Row:
    columns: dict[str, list[stored.TableColumn]] = {}
    for row in use.rows("table_columns", stored.TableColumn):
        columns.setdefault(row.table_name, []).append(row)
    keys = use.rows("table_keys", stored.TableKey)
    unit_fields: list[Row] = [{"name": n, "type": "string"} for n in ("unit", "ucum", "in_words")]
    resources = [
        _resource(name, [_field(c) for c in columns[name]], [k for k in keys if k.table_name == name])
        for name in frames
        if name != _UNITS
    ]
    resources.append(
        _resource(_UNITS, unit_fields, [stored.TableKey(_UNITS, "PRIMARY KEY", ["unit"], None, [])])
        | {"description": "The units that other tables name, with their codes in UCUM (ucum.org)."}
    )
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "qclog",
        "title": "A measurement log: every table as it is stored. Times are UTC.",
        "qclog_schema_step": use.schema_step(),
        "resources": resources,
    }


def _field(column: stored.TableColumn) -> Row:
    field: Row = {"name": column.column_name, "type": _TYPES[column.data_type]}
    if column.data_type == "UUID":
        field["format"] = "uuid"
    if (column.table_name, column.column_name) in _OF_HOURS:
        field["unit"] = "h"
    if not column.is_nullable:
        field["constraints"] = {"required": True}
    return field


def _resource(name: str, fields: list[Row], keys: list[stored.TableKey]) -> Row:
    schema: Row = {"fields": fields, "missingValues": []}  # an empty text is a text; nothing given is a null
    points: list[Row] = []
    for key in keys:
        if key.kind == "PRIMARY KEY":
            schema["primaryKey"] = key.columns
        else:
            reference = {"resource": key.referenced_table, "fields": key.referenced_columns}
            points.append({"fields": key.columns, "reference": reference})
    of_unit = {"resource": _UNITS, "fields": ["unit"]}
    named = [f["name"] for f in fields if name != _UNITS and f["name"] in _UNIT_COLUMNS]
    points += [{"fields": [column], "reference": of_unit} for column in named]
    if points:
        schema["foreignKeys"] = points
    return {
        "name": name,
        "type": "table",
        "path": f"{name}.parquet",
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "schema": schema,
    }


def import_parquet(log: Log, folder: Path) -> Report:
    """Make the new log `log` from a folder that `export_parquet` wrote, and verify it.

    FolderError if files are missing or are not what was written; LogError if there is a log already, or the copy is of
    a newer qclog. Only files of the tables' own names in this folder are read, whatever the descriptor says.
    """
    step = _step_of(folder / DESCRIPTOR)
    frames, problems = {}, []
    for file in sorted(folder.glob("*.parquet")):
        if file.stem == _UNITS:
            continue
        try:
            if file.stat().st_size > _MOST_BYTES:
                raise ValueError(f"is larger than {_MOST_BYTES:,} bytes")
            frames[file.stem] = pl.read_parquet(file, glob=False)  # a folder's name may hold what a pattern would
        except (pl.exceptions.PolarsError, OSError, ValueError) as error:
            why = str(error).splitlines()[0]
            problems.append(Problem(file.name, None, None, None, f"can't be read: {why}"))
    if problems:
        raise FolderError("nothing was imported", tuple(problems))
    log.fill_with(frames, step)
    return verify_new(log)


def _step_of(descriptor: Path) -> int:
    try:
        step = json.loads(descriptor.read_text(encoding="utf-8"))["qclog_schema_step"]
        return int(step)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise FolderError(
            "the folder's datapackage.json is not one that qclog wrote",
            field="folder",
            found=str(descriptor.parent),
            hint="name a folder made by `qclog export --parquet`",
        ) from error
