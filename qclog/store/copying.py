"""The whole of a log into another file, by SQL: copying the file itself would drop DuckDB's lock on it.

The copy is made anew: this qclog's own schema of the log's step, and every row in it. So it is as small as it can be,
and nothing that is no row of a log's tables comes along.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

from qclog import resources
from qclog.errors import FolderError, LogDamagedError, LogVersionError
from qclog.store import contents, migrations, schema
from qclog.store.connecting import STORAGE_VERSION
from qclog.store.paths import path_for_duckdb
from qclog.store.trouble import why_not_opened

if TYPE_CHECKING:
    import polars as pl


def copy(source: Path, target: Path) -> None:
    """Make the database `target` with every row of the log `source`, which is only read, and compare them.

    Raises LogDamagedError or LogVersionError naming `source` if that is no log of this qclog's, LogDamagedError naming
    `target` if what arrived is not what is in the log; DuckDB's own errors are left to the caller.
    """
    with opened_to_read(source) as connection:
        step = _step_of(connection, source)
        connection.execute(f"ATTACH {_text(target)} AS the_copy (STORAGE_VERSION '{STORAGE_VERSION}')")
        connection.execute("USE the_copy")
        migrations.create(connection, upto=step, ledger=False)
        connection.execute("BEGIN")
        for table in _in_order_made(connection):
            connection.execute(f"INSERT INTO the_copy.main.{table} SELECT * FROM the_log.main.{table}")  # noqa: S608 - names of ours
            if _sum(connection, "the_log", table) != _sum(connection, "the_copy", table):
                raise LogDamagedError(
                    f"table {table} did not arrive whole in the copy", field="backup", found=target, hint="try again"
                )
        connection.execute("COMMIT")
        connection.execute("CHECKPOINT the_copy")  # detaching would, and would keep silent about a full disk
        connection.execute("USE memory")
        connection.execute("DETACH the_copy")


def _in_order_made(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """The copy's tables; in older schema steps some point at others, which were made before them."""
    query = "SELECT table_name FROM duckdb_tables() WHERE database_name = 'the_copy' ORDER BY table_oid"
    return [row[0] for row in connection.execute(query).fetchall()]


def _step_of(connection: duckdb.DuckDBPyConnection, source: Path) -> int:
    """The schema step of the log, which holds what that step has and nothing else."""
    connection.execute("SET search_path = 'system.main,the_log.main'")
    contents.look(connection, source)
    try:
        step = migrations.applied(connection)
    except (LogDamagedError, LogVersionError) as error:
        error.found = source
        raise
    schema.check(connection, step, source)
    return step


def fill(connection: duckdb.DuckDBPyConnection, frames: Mapping[str, pl.DataFrame]) -> None:
    """Put whole tables into an empty log. FolderError if they are not those of a log, or break a constraint."""
    tables = sorted({column[0] for column in contents.columns_in(connection)} - {"migration"})
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
    nowhere = connection.execute(resources.sql_text("checks/rows_point_at_what_is_there.sql")).fetchone()
    if nowhere is not None:
        table, what, name, _ = nowhere
        raise FolderError(f"{table}.parquet names the {what} {name}, which the copy has not; nothing was imported")
    connection.execute("COMMIT")


@contextmanager
def opened_to_read(source: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A log that is only read, and not even locked beside: a copy may lie where nothing can be written."""
    with duckdb.connect(":memory:", config={"python_enable_replacements": "false"}) as connection:
        try:
            connection.execute(f"ATTACH {_text(source)} AS the_log (READ_ONLY)")
        except duckdb.Error as error:
            raise why_not_opened(source, error) from error
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


def _sum(connection: duckdb.DuckDBPyConnection, database: str, table: str) -> list[tuple[object, ...]]:
    query = f"SELECT count(*), sum(hash(r)::HUGEINT) FROM {database}.main.{table} AS r"  # noqa: S608 - names of ours
    return connection.execute(query).fetchall()


def _text(path: Path) -> str:
    return "'" + path_for_duckdb(path).replace("'", "''") + "'"
