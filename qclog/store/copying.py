"""The whole of an open log into another file, by SQL: copying the file itself would drop DuckDB's lock on it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from graphlib import TopologicalSorter
from pathlib import Path

import duckdb
import polars as pl

from qclog import resources
from qclog.errors import FolderError, LogDamagedError
from qclog.store.paths import path_for_duckdb
from qclog.store.trouble import why_not_opened

_NAME = "the_copy"
STORAGE_VERSION = "v1.5.0"


def copy_into(connection: duckdb.DuckDBPyConnection, target: Path) -> None:
    """Make the database `target` with every table, constraint and row of the log, and compare them.

    Raises LogDamagedError if what arrived is not what is in the log; DuckDB's own errors are left to the caller.
    """
    row = connection.execute("SELECT current_database()").fetchall()[0]
    log = _quoted(str(row[0]))
    connection.execute(f"ATTACH {_text(target)} AS {_NAME} (STORAGE_VERSION '{STORAGE_VERSION}')")
    try:
        connection.execute("BEGIN")
        connection.execute(f"COPY FROM DATABASE {log} TO {_NAME} (SCHEMA)")
        for table in tables_in_order(connection):
            connection.execute(f"INSERT INTO {_NAME}.main.{table} SELECT * FROM {log}.main.{table}")  # noqa: S608 - names of ours
            if _sum(connection, log, table) != _sum(connection, _NAME, table):
                raise LogDamagedError(
                    f"table {table} did not arrive whole in the copy", field="backup", found=target, hint="try again"
                )
        connection.execute("COMMIT")
        connection.execute(f"CHECKPOINT {_NAME}")  # detaching would, and would keep silent about a full disk
    except BaseException:
        _let_go(connection)
        raise
    connection.execute(f"DETACH {_NAME}")


def fill(connection: duckdb.DuckDBPyConnection, frames: Mapping[str, pl.DataFrame]) -> None:
    """Put whole tables into an empty log. FolderError if they are not those of a log, or break a constraint."""
    tables = [name for name in tables_in_order(connection) if name != "migration"]
    strange = [name for name in frames if name not in tables]
    if strange or "entry_digest" not in frames:
        what = f"{strange[0]} is no table of a log" if strange else "the digests (entry_digest) are missing"
        raise FolderError(f"{what}; nothing was imported", field="folder", hint="name a folder as it was written")
    connection.execute("BEGIN")
    for name in (t for t in tables if t in frames):
        connection.register("incoming", frames[name].to_arrow())
        try:
            connection.execute(f"INSERT INTO {name} BY NAME SELECT * FROM incoming")  # noqa: S608 - names of ours
        except (duckdb.ConstraintException, duckdb.ConversionException, duckdb.BinderException) as error:
            why = str(error).splitlines()[0]
            raise FolderError(
                f"{name}.parquet does not fit the log: {why}; nothing was imported", field="folder"
            ) from error
        connection.unregister("incoming")
    connection.execute("COMMIT")


@contextmanager
def opened_to_read(source: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A log that is only read, and not even locked beside: a copy may lie where nothing can be written."""
    with duckdb.connect(":memory:") as connection:
        try:
            connection.execute(f"ATTACH {_text(source)} AS the_source (READ_ONLY)")
        except duckdb.Error as error:
            raise why_not_opened(source, error) from error
        connection.execute("USE the_source")
        yield connection


@contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """Gives the name to write a database to, which becomes `target` once it is whole.

    A kill or a power cut leaves nothing under `target` that looks whole and is not.
    """
    part = target.with_name(f".{target.name}.unfinished")
    files = (part, Path(f"{part}.wal"))
    for file in files:
        file.unlink(missing_ok=True)
    try:
        yield part
        part.replace(target)
        _sync_folder(target.parent)
    finally:
        for file in files:
            file.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """So that a power cut just after finds the new name."""
    if os.name == "nt":  # which has no folders to open
        return
    with suppress(OSError):  # some network shares refuse; the file itself is written all the same
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _let_go(connection: duckdb.DuckDBPyConnection) -> None:
    for statement in ("ROLLBACK", f"DETACH {_NAME}"):
        try:
            connection.execute(statement)
        except duckdb.Error:
            continue


def tables_in_order(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """The log's tables, those that others point at first."""
    points_at: dict[str, list[str]] = {}
    for table, target in connection.execute(resources.sql_text("queries/tables_of_the_log.sql")).fetchall():
        points_at.setdefault(table, [])
        if target is not None:
            points_at[table].append(target)
    return list(TopologicalSorter(points_at).static_order())


def _sum(connection: duckdb.DuckDBPyConnection, database: str, table: str) -> list[tuple[object, ...]]:
    query = f"SELECT count(*), sum(hash(r)::HUGEINT) FROM {database}.main.{table} AS r"  # noqa: S608 - names of ours
    return connection.execute(query).fetchall()


def _text(path: Path) -> str:
    return "'" + path_for_duckdb(path).replace("'", "''") + "'"


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
