"""The log file: made, opened for one thing, closed.

with log.reading() as use:    use.rows("job_by_id", job="J-100")
with log.writing(entry) as use:    ...    # one transaction, all or nothing
"""

from __future__ import annotations

import errno
import os
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from qclog import resources
from qclog.errors import InputError, LogBusyError, LogDamagedError, LogError, LogVersionError
from qclog.store import chain, lock, migrations
from qclog.store.ids import new_id, new_ids

Via = Literal["bench", "terminal", "import", "demo"]
STORAGE_VERSION = "v1.5.0"


@dataclass(frozen=True, slots=True)
class Submission:
    """Who brings something into the log, by what way, and an id so that a retry is stored once."""

    by: str
    via: Via
    what: str
    id: UUID = field(default_factory=new_id)


class AlreadyStored(Exception):  # noqa: N818 - not an error: the submission is safe in the log
    """The same submission was stored before; nothing was added."""

    def __init__(self, entry: int) -> None:
        super().__init__(f"already stored as entry {entry}")
        self.entry = entry


class Use:
    """An open log: runs the queries of sql/queries by name, and plain statements of this room."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, entry: int | None = None) -> None:
        self.connection = connection
        self.touched: Counter[str] = Counter()  # rows added to each table, for the entry's digest
        self._entry = entry

    @property
    def entry(self) -> int:
        """The number of the entry being written."""
        if self._entry is None:
            raise RuntimeError("the log is open for reading only")
        return self._entry

    def frame(self, query: str, **values: object) -> pl.DataFrame:
        """The result of sql/queries/`query`.sql as a polars frame."""
        result: pl.DataFrame = self.connection.sql(_query(query), params=values or None).pl()
        return result

    def rows(self, query: str, *, folder: str = "queries", **values: object) -> list[dict[str, Any]]:
        """The result of sql/`folder`/`query`.sql, one dict a row."""
        result = self.connection.execute(_query(query, folder), values or None)
        names = [d[0] for d in result.description or ()]
        return [dict(zip(names, row, strict=True)) for row in result.fetchall()]

    def insert(self, table: str, **values: object) -> None:
        """Add one row to `table`."""
        self.touched[table] += 1
        columns = ", ".join(values)
        marks = ", ".join(f"${name}" for name in values)
        self.connection.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", values)  # noqa: S608 - names of ours

    def insert_frame(self, table: str, frame: pl.DataFrame) -> None:
        """Add every row of `frame`, whose columns are named as the table's; tables keyed by an id get new ones."""
        if frame.is_empty():
            return
        if table in _KEYED_BY_ID:
            frame = frame.with_columns(new_ids(len(frame)))
        self.touched[table] += len(frame)
        columns = ", ".join(frame.columns)
        with self._registered("incoming", frame):
            self.connection.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM incoming")  # noqa: S608 - names of ours

    def frame_with(self, query: str, name: str, frame: pl.DataFrame) -> pl.DataFrame:
        """The result of sql/queries/`query`.sql, which reads `frame` under `name`."""
        with self._registered(name, frame):
            result: pl.DataFrame = self.connection.sql(_query(query)).pl()
            return result

    @contextmanager
    def _registered(self, name: str, frame: pl.DataFrame) -> Iterator[None]:
        self.connection.register(name, frame.to_arrow())
        yield
        self.connection.unregister(name)  # not after a failure: it would fail too, and hide why


_KEYED_BY_ID = (
    "gauge_check",
    "job_detail",
    "part",
    "reading",
    "strike",
    "comeback",
    "shim_minimum",
    "shim_movement",
    "finding_note",
    "change",
    "person_detail",
    "sign_on",
)


@cache
def _query(name: str, folder: str = "queries") -> str:
    return resources.sql_text(f"{folder}/{name}.sql")


@cache
def _views() -> str:
    files = sorted((resources.folder("sql") / "views").glob("*.sql"))
    return "\n".join(f.read_text(encoding="utf-8") for f in files)


@cache
def _warm() -> None:
    """Before the lock is taken: on DuckDB 1.5 the first bound parameter imports pandas, which takes seconds."""
    with duckdb.connect(":memory:") as connection:
        connection.execute("SELECT ?", [1]).fetchall()


@dataclass(frozen=True, slots=True)
class Log:
    """A log at `path`. Nothing is held between uses."""

    path: Path
    patience: float = lock.PATIENCE_SECONDS

    def exists(self) -> bool:
        """Whether there is a file at the path."""
        return self.path.exists()

    def create(self, *, timezone: str = "UTC") -> None:
        """Make a new, empty log whose local times are in `timezone`. LogError if there is a file already."""
        check_timezone(timezone)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise LogError(
                f"the log's folder can't be made: {error.strerror or error}", field="log", found=self.path
            ) from error
        _warm()
        with lock.holding(self.path, self.patience):
            if self.path.exists():
                raise LogError("there is a file already", field="log", found=self.path, hint="choose another name")
            # Made under another name, so that a kill or a power cut leaves no half-made log.
            unfinished = Log(self.path.with_name(f".{self.path.name}.unfinished"))
            unfinished._unlink()
            try:
                with unfinished._connection(new=True) as connection:
                    migrations.create(connection)
                    connection.execute("INSERT INTO setting VALUES ('timezone', ?)", [timezone])
                    chain.begin(connection)
                    connection.execute("CHECKPOINT")  # closing would, and would keep silent about a full disk
                unfinished.path.rename(self.path)
            except LogError as error:
                error.found = self.path
                raise
            finally:
                unfinished._unlink()

    def remove_empty(self) -> None:
        """Take away a log that was made and never written to; one with an entry stays."""
        with self.reading() as use:
            empty = use.rows("revision")[0]["revision"] == 0
        if empty:
            with lock.holding(self.path, self.patience):
                self._unlink()

    def _unlink(self) -> None:
        for file in (self.path, Path(f"{self.path}.wal")):
            file.unlink(missing_ok=True)

    @contextmanager
    def reading(self) -> Iterator[Use]:
        """Open the log to read."""
        with self._open() as connection:
            yield Use(connection)

    @contextmanager
    def writing(self, submission: Submission) -> Iterator[Use]:
        """Open the log for one transaction, stored whole or not at all.

        Raises AlreadyStored when the submission is in the log, so that a retry after a crash is safe.
        """
        with self._open() as connection:
            connection.execute("BEGIN")
            try:
                stored = connection.execute("SELECT entry FROM entry WHERE submission = ?", [submission.id]).fetchone()
                if stored is not None:
                    raise AlreadyStored(stored[0])
                row = connection.execute("SELECT coalesce(max(entry), 0) + 1 FROM entry").fetchone()
                entry = int(row[0]) if row else 1
                use = Use(connection, entry)
                now = datetime.now(UTC).replace(tzinfo=None)
                use.insert(
                    "entry",
                    entry=entry,
                    submission=submission.id,
                    entered_at=now,
                    entered_by=submission.by,
                    via=submission.via,
                    what=submission.what,
                )
                yield use
                chain.add(connection, entry, use.touched)
                connection.execute("COMMIT")
            except BaseException:  # a page's run is stopped by exceptions outside Exception
                _roll_back(connection)
                raise

    @contextmanager
    def _open(self) -> Iterator[duckdb.DuckDBPyConnection]:
        _warm()
        if not self.exists():
            raise LogError(
                "there is no log here",
                field="log",
                found=self.path,
                hint="make one with `qclog init`, `qclog import` or `qclog demo`, or name it with --log",
            )
        with lock.holding(self.path, self.patience):
            with self._connection(new=False) as connection:
                if not self._bring_up(connection):
                    connection.execute(_views())
                    yield connection
                    return
            with self._connection(new=False) as connection:  # once migrated, opened again as everyone will find it
                connection.execute(_views())
                yield connection

    def _bring_up(self, connection: duckdb.DuckDBPyConnection) -> bool:
        """Whether the log had to be migrated, and was."""
        try:
            return migrations.bring_up(connection)
        except LogError as error:
            error.found = self.path
            raise

    @contextmanager
    def _connection(self, *, new: bool) -> Iterator[duckdb.DuckDBPyConnection]:
        config: dict[str, Any] = {"storage_compatibility_version": STORAGE_VERSION} if new else {}
        deadline = time.monotonic() + self.patience
        while True:
            try:
                connection = duckdb.connect(str(self.path), config=config)
                break
            except duckdb.Error as error:
                if "lock" in str(error).lower() and time.monotonic() < deadline:
                    time.sleep(0.05)
                    continue
                raise _why_not_opened(self.path, error) from error
        try:
            yield connection
        except duckdb.InterruptException as error:
            raise KeyboardInterrupt from error
        except duckdb.Error as error:
            unusable = isinstance(error, duckdb.IOException | duckdb.FatalException | duckdb.OutOfMemoryException)
            if unusable or "Failed to commit" in str(error):
                raise _why_not_written(self.path, error) from error
            raise
        except RuntimeError as error:
            if str(error) == "Query interrupted":  # how DuckDB's Python side says that Ctrl-C was pressed
                raise KeyboardInterrupt from error
            raise
        finally:
            connection.close()


def _roll_back(connection: duckdb.DuckDBPyConnection) -> None:
    try:
        connection.execute("ROLLBACK")
    except duckdb.Error as error:
        # Nothing to undo: the failure already ended the transaction, or closed the database.
        if not isinstance(error, duckdb.TransactionException | duckdb.FatalException | duckdb.ConnectionException):
            raise


def _why_not_opened(path: Path, error: duckdb.Error) -> LogError:
    text = str(error)
    if _says(text, FULL):
        return _no_room(path)
    if "lock" in text.lower():
        return LogBusyError(
            "another program has the log open",
            field="log",
            found=path,
            hint="close the database tool that holds it, then try again",
        )
    if "newer version" in text or "version number" in text.lower() or "Serialization" in type(error).__name__:
        return LogVersionError(
            f"the log's file format is not one this DuckDB ({duckdb.__version__}) reads",
            field="log",
            found=path,
            hint="install a newer duckdb; the log has not been touched",
        )
    if not os.access(path, os.R_OK | os.W_OK):
        return LogError("the log may not be read and written by you", field="log", found=path)
    return LogDamagedError(
        "this is not a log, or it is damaged",
        field="log",
        found=path,
        hint="the file has not been touched; restore the last backup under another name",
    )


FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)  # a full disk, a quota, a limit on files
SHUT = (errno.EACCES, errno.EPERM, errno.EROFS)


def _says(text: str, numbers: tuple[int, ...]) -> str | None:
    """Which of the operating system's reasons DuckDB's message names."""
    return next((os.strerror(n) for n in numbers if os.strerror(n).lower() in text.lower()), None)


def _no_room(path: Path) -> LogError:
    return LogError(
        "there is no room left on the disk",
        field="log",
        found=path,
        hint="make room and do this step again; what was stored before it is safe",
    )


def _why_not_written(path: Path, error: duckdb.Error) -> LogError:
    if _says(str(error), FULL):
        return _no_room(path)
    shut = _says(str(error), SHUT)
    if shut:
        return LogError(
            f"the log may not be written: {shut}",
            field="log",
            found=path,
            hint="nothing of this step was stored; keep the log in a folder you may write to",
        )
    first = str(error).splitlines()[0]
    if "could not read" in first.lower() or "corrupt" in first.lower():
        return LogDamagedError(
            "the log is damaged or cut short",
            field="log",
            found=path,
            hint="the file has not been touched; restore the last backup under another name",
        )
    return LogError(
        f"the log could not be used: {first}",
        field="log",
        found=path,
        hint="nothing of this step was stored; check that the disk has room and may be written",
    )


def check_timezone(name: str) -> ZoneInfo:
    """The time zone `name`; InputError if there is none such."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise InputError(
            "there is no such time zone", field="timezone", found=name, hint="for example Europe/London or UTC"
        ) from error
