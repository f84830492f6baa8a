"""The log file: made, opened for one thing, closed.

with log.reading() as use:    use.rows("job_by_id", stored.Job, job="J-100")
with log.writing(entry) as use:    ...    # one transaction, all or nothing
"""

from __future__ import annotations

import glob
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

import duckdb

from qclog import resources
from qclog.domain import stored
from qclog.domain.moments import now
from qclog.domain.names import check_name
from qclog.errors import InputError, LogError, LogVersionError
from qclog.store import as_of, chain, contents, copying, lock, migrations, schema
from qclog.store.as_of import AsOf
from qclog.store.connecting import connected, find_built_in_first
from qclog.store.frames import frame_of
from qclog.store.ids import new_id, new_ids
from qclog.store.trouble import says_damaged, telling_of, why_not_written

if TYPE_CHECKING:
    import polars as pl

Via = Literal["bench", "terminal", "import", "demo"]

T = TypeVar("T", bound=tuple[object, ...])


@dataclass(frozen=True, slots=True)
class Submission:
    """Who brings something into the log, by what way, and an id so that a retry is stored once."""

    by: str
    via: Via
    what: str
    id: UUID = field(default_factory=new_id)

    def __post_init__(self) -> None:
        check_name(self.by, "by")


class AlreadyStored(Exception):  # noqa: N818 - not an error: the submission is safe in the log
    """The same submission was stored before; nothing was added."""

    def __init__(self, entry: int) -> None:
        super().__init__(f"already stored as entry {entry}")
        self.entry = entry


class Use:
    """An open log: runs the queries of sql/queries by name, and plain statements of this room."""

    def __init__(
        self, connection: duckdb.DuckDBPyConnection, entry: int | None = None, at: datetime | None = None
    ) -> None:
        self.connection = connection
        self._at = at
        self.touched: Counter[str] = Counter()  # rows added to each table, for the entry's digest
        self._entry = entry

    @property
    def is_reading(self) -> bool:
        """Whether the log is open for reading only."""
        return self._entry is None

    @property
    def moment(self) -> datetime:
        """The moment the log tells of (UTC): the one that it is asked as of, or now."""
        return self._at or now()

    @property
    def entry(self) -> int:
        """The number of the entry being written."""
        if self._entry is None:
            raise RuntimeError("the log is open for reading only")
        return self._entry

    def frame(self, query: str, **values: object) -> pl.DataFrame:
        """The result of sql/queries/`query`.sql as a polars frame."""
        return frame_of(self.connection.sql(_query(query), params=values or None))

    def rows(self, query: str, kind: type[T], **values: object) -> list[T]:
        """The result of sql/queries/`query`.sql, one `kind` each, as qclog/domain/stored.py has them."""
        if stored.KINDS[query] is not kind:
            raise TypeError(f"rows of {query} are {stored.KINDS[query].__name__}, not {kind.__name__}")
        result = self.connection.execute(_query(query), values or None)
        return [kind(*row) for row in result.fetchall()]

    def found_by(self, folder: str, query: str) -> list[dict[str, object]]:
        """What a check of sql/checks/ or a remark of sql/remarks/ finds, one dict a row."""
        result = self.connection.execute(_query(query, folder))
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

    def table_names(self) -> list[str]:
        """Every table of the log but the ledger of schema steps, in order of their names."""
        return [
            row.table_name
            for row in self.rows("tables_of_the_log", stored.TableOfTheLog)
            if row.table_name != "migration"
        ]

    def whole_table(self, table: str) -> pl.DataFrame:
        """Every row of `table`, in the order of its entries and then of its columns; ids as text."""
        columns = [row for row in self.rows("table_columns", stored.TableColumn) if row.table_name == table]
        names = [f'"{row.column_name}"' for row in columns]
        chosen = [f"{n}::VARCHAR AS {n}" if c.data_type == "UUID" else n for n, c in zip(names, columns, strict=True)]
        order = [n for n in ('"entry"', *names) if n in names]
        query = f"SELECT {', '.join(chosen)} FROM {table} ORDER BY {', '.join(order)}"  # noqa: S608 - names of ours
        return frame_of(self.connection.sql(query))

    def rows_no_key_finds(self) -> list[dict[str, object]]:
        """How many rows of each table one of its keys does not find; every index is read for it."""
        return schema.rows_no_key_finds(self.connection)

    def schema_step(self) -> int:
        """The number of the last schema step."""
        return migrations.applied(self.connection)

    def frame_with(self, query: str, name: str, frame: pl.DataFrame) -> pl.DataFrame:
        """The result of sql/queries/`query`.sql, which reads `frame` under `name`."""
        with self._registered(name, frame):
            return frame_of(self.connection.sql(_query(query)))

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
    "gauge_detail",
    "comeback_detail",
    "house_detail",
    "sign_on",
)


_reading: ContextVar[tuple[Log, Use] | None] = ContextVar("reading", default=None)
_kept: ContextVar[tuple[Path, duckdb.DuckDBPyConnection] | None] = ContextVar("kept", default=None)


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
    if not duckdb.__version__.startswith("1."):
        return
    with duckdb.connect(":memory:") as connection:
        connection.execute("SELECT ?", [1]).fetchall()


@dataclass(frozen=True, slots=True)
class Log:
    """A log at `path`. Nothing is held between uses.

    `as_of`: read as it stood then; such a log can't be written to.
    """

    path: Path
    patience: float = lock.PATIENCE_SECONDS
    as_of: AsOf | None = None

    def check(self) -> None:
        """LogError if there is no log here that can be opened, which says how to make one."""
        with self._open():
            return

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
            try:
                with copying.unfinished(self.path) as part, connected(part, self.patience, new=True) as connection:
                    migrations.create(connection)
                    connection.execute("INSERT INTO setting VALUES ('timezone', ?)", [timezone])
                    chain.begin(connection)
                    connection.execute("CHECKPOINT")  # closing would, and would keep silent about a full disk
            except LogError as error:
                error.found = self.path
                raise

    def remove_empty(self) -> None:
        """Take away a log that was made and never written to; one with an entry stays."""
        with self.reading() as use:
            empty = use.rows("revision", stored.Revision)[0].revision == 0
        if empty:
            with lock.holding(self.path, self.patience):
                self._unlink()

    def _unlink(self) -> None:
        for file in (self.path, Path(f"{self.path}.wal")):
            file.unlink(missing_ok=True)

    @contextmanager
    def reading(self, what: str = "") -> Iterator[Use]:
        """Open the log to read. Inside another reading of the same log, that one is used: it sees one moment.

        `what` is told to whoever has to wait for it.
        """
        held = _reading.get()
        if held is not None and held[0].path == self.path:
            if held[0].as_of == self.as_of:
                yield held[1]
            else:
                with self._seen_beside(held[1].connection) as connection, self._kept_for_reading(connection) as use:
                    yield use
            return
        with self._open(what) as connection, self._kept_for_reading(connection) as use:
            yield use

    @contextmanager
    def _kept_for_reading(self, connection: duckdb.DuckDBPyConnection) -> Iterator[Use]:
        use = Use(connection, at=self.as_of.at if self.as_of is not None else None)
        token = _reading.set((self, use))
        try:
            yield use
        finally:
            _reading.reset(token)

    @contextmanager
    def _seen_beside(self, opened: duckdb.DuckDBPyConnection) -> Iterator[duckdb.DuckDBPyConnection]:
        """A second look at an open file, as of another moment: its views are its own."""
        with opened.cursor() as connection:
            find_built_in_first(connection)
            self._make_views(connection)
            yield connection

    def _make_views(self, connection: duckdb.DuckDBPyConnection) -> None:
        if self.as_of is not None:
            as_of.shadow(connection, self.as_of)
        connection.execute(_views())

    @contextmanager
    def writing(self, submission: Submission) -> Iterator[Use]:
        """Open the log for one transaction, stored whole or not at all.

        Raises AlreadyStored when the submission is in the log, so that a retry after a crash is safe.
        """
        held = _reading.get()
        if held is not None and held[0].path == self.path:
            raise RuntimeError("the log can't be written to while it is open for reading")
        if self.as_of is not None:
            raise InputError("the log as it stood can't be added to", field="as-of", hint="leave --as-of out")
        with self._open(f"{submission.what} ({submission.by}, {submission.via})") as connection:
            connection.execute("BEGIN")
            try:
                stored = connection.execute("SELECT entry FROM entry WHERE submission = ?", [submission.id]).fetchone()
                if stored is not None:
                    raise AlreadyStored(stored[0])
                row = connection.execute("SELECT coalesce(max(entry), 0) + 1 FROM entry").fetchone()
                entry = int(row[0]) if row else 1
                use = Use(connection, entry)
                use.insert(
                    "entry",
                    entry=entry,
                    submission=submission.id,
                    entered_at=now(),
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
    def kept_open(self) -> Iterator[None]:
        """One opening for all that is done with this log inside: nobody comes between a store and its answer."""
        with self._open() as connection:
            token = _kept.set((self.path, connection))
            try:
                yield
            finally:
                _kept.reset(token)

    @contextmanager
    def _open(self, what: str = "") -> Iterator[duckdb.DuckDBPyConnection]:
        kept = _kept.get()
        if kept is not None and kept[0] == self.path:
            if self.as_of is None:
                yield kept[1]
            else:
                with self._seen_beside(kept[1]) as connection:
                    yield connection
            return
        _warm()
        self._need_file()
        with lock.holding(self.path, self.patience, what):
            with connected(self.path, self.patience) as connection:
                if self._is_current(connection):
                    contents.check_columns(connection, self.path)
                    self._make_views(connection)
                    yield connection
                    return
            self._bring_up()
            with connected(self.path, self.patience) as connection:  # opened again as everyone will find it
                self._make_views(connection)
                yield connection

    def _need_file(self) -> None:
        if not self.exists():
            raise LogError(
                "there is no log here",
                field="log",
                found=self.path,
                hint="make one with `qclog init`, `qclog import` or `qclog demo`, or name it with --log",
            )

    def _is_current(self, connection: duckdb.DuckDBPyConnection) -> bool:
        try:
            step = migrations.applied(connection)
            if step == len(migrations.known()):
                return True
            schema.check(connection, step, self.path)
        except LogError as error:
            error.found = self.path
            raise
        return False

    def _bring_up(self) -> None:
        """Put a log of this schema step in the place of one of an older step, of which a copy is kept beside it."""
        self._copy_before_migrating()
        with telling_of(self.path):
            self._make_from(self.path)

    def _make_from(self, source: Path) -> None:
        """Make the log's file, whole or not at all, from a log of this schema step or an older one, only read."""
        with copying.unfinished(self.path) as part:
            copying.copy(source, part)
            with connected(part, self.patience) as connection:
                migrations.bring_up(connection)

    def _copy_before_migrating(self) -> None:
        """A copy of the log as it is, beside it: LogError, and nothing touched, where none can be made."""
        moment = datetime.now(UTC)
        with connected(self.path, self.patience) as connection:
            step = migrations.applied(connection) + 1
        name = f"{self.path.stem}-before-step-{step}-{moment:%Y%m%dT%H%M%S%f}{self.path.suffix}"
        for left in self.path.parent.glob(f".{glob.escape(self.path.stem)}-before-step-*.unfinished*"):
            left.unlink()  # by a kill in the midst of such a copy
        try:
            with copying.unfinished(self.path.with_name(name)) as part:
                copying.copy(self.path, part)
        except (duckdb.Error, OSError) as error:
            if isinstance(error, duckdb.Error) and says_damaged(error):
                raise why_not_written(self.path, error) from error
            why = str(error).splitlines()[0]
            raise LogError(
                f"the log must be brought up to date, but no copy of it could be made first: {why}",
                field="log",
                found=self.path,
                hint="make room and leave to write beside the log; the log has not been touched",
            ) from error

    def copy_to(self, target: Path) -> None:
        """Copy the log, under its lock, into a new file, which has its name once it is whole and compared.

        LogError naming `target` if that can't be written; any file of that name is replaced.
        """
        _warm()
        self._need_file()
        with lock.holding(self.path, self.patience, "backup"):
            with connected(self.path, self.patience) as connection:  # a log that is not sound enough to open says so
                current = self._is_current(connection)
            if not current:
                self._bring_up()
            with telling_of(target), copying.unfinished(target) as part:
                copying.copy(self.path, part)

    def fill_from(self, source: Path) -> None:
        """Make this log, which must not be there, from a copy, brought up to date; the copy is only read.

        LogError naming `source` where that is no log that this qclog reads, or this log where it can't be written.
        """
        with lock.holding(self.path, self.patience, "restore"):
            if self.path.exists():
                raise LogError("there is a file already", field="log", found=self.path, hint="choose another name")
            with telling_of(self.path):
                self._make_from(source)

    def fill_with(self, frames: Mapping[str, pl.DataFrame], step: int) -> None:
        """Make this log, which must not be there, from whole tables as schema step `step` had them."""
        if step > len(migrations.known()):
            raise LogVersionError(
                f"the copy was made by a newer qclog (schema step {step})", field="log", hint="install the newer qclog"
            )
        with lock.holding(self.path, self.patience):
            if self.path.exists():
                raise LogError("there is a file already", field="log", found=self.path, hint="choose another name")
            with copying.unfinished(self.path) as part, connected(part, self.patience, new=True) as connection:
                migrations.create(connection)
                copying.fill(connection, frames)
                connection.execute("CHECKPOINT")


def _roll_back(connection: duckdb.DuckDBPyConnection) -> None:
    try:
        connection.execute("ROLLBACK")
    except duckdb.Error as error:
        # Nothing to undo: the failure already ended the transaction, or closed the database.
        if not isinstance(error, duckdb.TransactionException | duckdb.FatalException | duckdb.ConnectionException):
            raise


def check_timezone(name: str) -> ZoneInfo:
    """The time zone `name`; InputError if there is none such."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise InputError(
            "there is no such time zone", field="timezone", found=name, hint="for example Europe/London or UTC"
        ) from error
