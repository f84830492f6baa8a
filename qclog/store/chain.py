"""The chain of digests over the entries of a log: made with each entry, made for an older log, looked at again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb

from qclog import resources
from qclog.domain import digests
from qclog.store.frames import frame_of

if TYPE_CHECKING:
    import polars as pl


_FEW = 200  # rows of one entry in one table that are digested row by row rather than column by column
_AT_ONCE = 500_000
_WHOLE = ("BIGINT", "INTEGER", "SMALLINT", "BOOLEAN")

Parts = dict[int, dict[str, tuple[int, str]]]


@dataclass(frozen=True, slots=True)
class Fault:
    """One entry that does not fit the chain, and why."""

    entry: int
    says: str


@dataclass(frozen=True, slots=True)
class _Table:
    """A table whose rows carry an entry number: what to select, the kind of each column, and the order of rows."""

    name: str
    select: str
    kinds: tuple[tuple[str, digests.Kind], ...]
    key: tuple[str, ...]


def add(connection: duckdb.DuckDBPyConnection, entry: int, touched: Mapping[str, int]) -> None:
    """Add the digest of the entry being written, which put so many rows into each table of `touched`."""
    parts = {}
    for name, rows in touched.items():
        table = _table(connection, name)
        query = f"{table.select} WHERE entry = {entry:d}"
        if rows == 1:  # a reading at the bench: no frame is worth making
            row = connection.execute(query).fetchall()
            columns = {name: (kind, values) for (name, kind), *values in zip(table.kinds, *row, strict=True)}
            parts[name] = (len(row), digests.digest_rows(columns, len(row)))
        else:
            frame = frame_of(connection.sql(query))
            parts[name] = (len(frame), _digest(table, _in_order(table, frame)))
    before = connection.execute("SELECT digest FROM entry_digest WHERE entry = ?", [entry - 1]).fetchone()
    link = _link(before[0] if before else "", entry, "entered", parts)
    connection.execute("INSERT INTO entry_digest VALUES (?, ?, ?, ?)", link)


def begin(connection: duckdb.DuckDBPyConnection) -> None:
    """Begin the chain: the settings, and every entry there is already, as it is found."""
    import polars as pl

    links = [_link("", 0, "entered", _settings(connection))]
    for entry, parts in sorted(_found(connection).items()):
        links.append(_link(links[-1][3], entry, "as found", parts))
    frame = pl.DataFrame(links, schema=["entry", "how", "parts", "digest"], orient="row").to_arrow()
    connection.register("links", frame)
    connection.execute("INSERT INTO entry_digest SELECT entry, how, parts, digest FROM links")
    connection.unregister("links")


def faults(connection: duckdb.DuckDBPyConnection) -> list[Fault]:
    """Every entry whose rows or digest are not what they were, in order; none for a sound log."""
    stored = {
        row[0]: row[1:] for row in connection.execute("SELECT entry, how, parts, digest FROM entry_digest").fetchall()
    }
    found = _found(connection)
    found.setdefault(0, {}).update(_settings(connection))
    told, before = [], ""
    for entry in sorted(stored.keys() | found.keys()):
        if entry not in stored:
            told.append(Fault(entry, "has no digest: it was put in past qclog, or its digest was taken out"))
            before = ""
            continue
        how, parts, digest = stored[entry]
        says = [] if parts == _lines(found.get(entry, {})) else list(_differences(parts, found.get(entry, {})))
        if digest != digests.chain(before, entry, how, parts):
            says.append("its digest does not follow from the entry before it")
        if says:
            told.append(Fault(entry, "; ".join(says)))
        before = digest
    return told


def _differences(parts: str, found: Mapping[str, tuple[int, str]]) -> Iterator[str]:
    then = {name: (int(rows), digest) for name, rows, digest in _split(parts)}
    if not then:
        yield "its digest was altered"
    for name in sorted(then.keys() | found.keys()):
        was, now = then.get(name, (0, "")), found.get(name, (0, ""))
        if was[0] != now[0]:
            yield f"{_rows(now[0])} in table {name} where {_rows(was[0])} came in"
        elif was[1] != now[1]:
            yield f"table {name} is not as it was entered ({_rows(now[0])})"


def _split(parts: str) -> Iterator[tuple[str, str, str]]:
    for line in parts.splitlines():
        words = line.split(" ")
        if len(words) == 3 and words[1].isdigit():
            yield words[0], words[1], words[2]


def _rows(n: int) -> str:
    return "1 row" if n == 1 else f"{n:,} rows"


def _found(connection: duckdb.DuckDBPyConnection) -> Parts:
    """What every entry has in every table now."""
    names = connection.execute(resources.sql_text("queries/tables_in_the_chain.sql")).fetchall()
    found: Parts = {}
    for (name,) in names:
        table = _table(connection, name)
        for first, last in _stretches(connection, name):
            query = f"{table.select} WHERE entry BETWEEN {first:d} AND {last:d}"
            for entry, rows, digest in _digests(table, frame_of(connection.sql(query))):
                found.setdefault(entry, {})[name] = (rows, digest)
    return found


def _stretches(connection: duckdb.DuckDBPyConnection, name: str) -> Iterator[tuple[int, int]]:
    """First and last entries that together have no more rows than are looked at at once; a larger entry alone."""
    counts = connection.execute(f"SELECT entry, count(*) FROM {name} GROUP BY entry ORDER BY entry").fetchall()  # noqa: S608 - names of ours
    first, last, rows = None, 0, 0
    for entry, count in counts:
        if first is not None and rows + count > _AT_ONCE:
            yield first, last
            first, rows = None, 0
        first = entry if first is None else first
        last, rows = entry, rows + count
    if first is not None:
        yield first, last


def _digests(table: _Table, frame: pl.DataFrame) -> Iterator[tuple[int, int, str]]:
    """(entry, rows, digest) of each entry in the frame."""
    frame = frame.sort("entry", *table.key) if frame["entry"].n_unique() > 1 else _in_order(table, frame)
    lengths = frame["entry"].rle().struct.unnest()
    kinds = [(name, kind) for name, kind in table.kinds if frame[name].null_count() < len(frame)]
    lists = frame.to_dict(as_series=False) if lengths["len"].min() <= _FEW else {}  # type: ignore[operator] # never empty
    start = 0
    for rows, entry in lengths.rows():
        if rows <= _FEW:
            columns = {name: (kind, lists[name][start : start + rows]) for name, kind in kinds}
            yield entry, rows, digests.digest_rows(columns, rows)
        else:
            yield entry, rows, _digest(table, frame.slice(start, rows))
        start += rows


def _in_order(table: _Table, frame: pl.DataFrame) -> pl.DataFrame:
    if len(table.key) == 1 and frame[table.key[0]].is_sorted():
        return frame
    return frame.sort(table.key)


def _digest(table: _Table, frame: pl.DataFrame) -> str:
    """What `digests.digest_rows` says of the frame, a column at a time where there are many rows."""
    import polars as pl

    if len(frame) <= _FEW:
        lists = frame.to_dict(as_series=False)
        return digests.digest_rows({name: (kind, lists[name]) for name, kind in table.kinds}, len(frame))
    digest = hashlib.sha256(len(frame).to_bytes(8, "little"))
    for name, kind in sorted(table.kinds):
        values = frame[name]
        if values.null_count() == len(values):
            continue
        digest.update(f"{name}\0{kind}".encode())
        digest.update(values.is_not_null().cast(pl.UInt8).to_numpy().tobytes())
        if kind == "text":
            texts = values.fill_null("")
            digest.update(texts.str.len_bytes().cast(pl.Int64).to_numpy().astype("<i8", copy=False).tobytes())
            digest.update(texts.str.join("").item().encode())
        else:
            digest.update(
                values.fill_null(0).to_numpy().astype("<f8" if kind == "real" else "<i8", copy=False).tobytes()
            )
    return digest.hexdigest()


def _table(connection: duckdb.DuckDBPyConnection, name: str) -> _Table:
    columns = connection.execute(f"PRAGMA table_info('{name}')").fetchall()
    selected, kinds = [], []
    for _, column, declared, _, _, _ in columns:
        expression, kind = _as_kind(f'"{column}"', declared)
        selected.append(f'{expression} AS "{column}"')
        kinds.append((column, kind))
    key = tuple(sorted(column[1] for column in columns if column[5])) or tuple(sorted(column[1] for column in columns))
    return _Table(name, f"SELECT {', '.join(selected)} FROM {name}", tuple(kinds), key)  # noqa: S608 - names of ours


def _as_kind(column: str, declared: str) -> tuple[str, digests.Kind]:
    """How to select a column so that it is text, a whole number or a real one, and which of them."""
    forms: dict[str, tuple[str, digests.Kind]] = {
        "VARCHAR": (column, "text"),
        "UUID": (f"CAST({column} AS VARCHAR)", "text"),
        "BLOB": (f"hex({column})", "text"),
        "DOUBLE": (column, "real"),
        "DATE": (f"CAST({column} - DATE '1970-01-01' AS BIGINT)", "whole"),
        "TIMESTAMP": (f"epoch_us({column})", "whole"),
        **dict.fromkeys(_WHOLE, (f"CAST({column} AS BIGINT)", "whole")),
    }
    if declared not in forms:
        raise TypeError(f"the chain has no form for a column of type {declared}; give it one here")
    return forms[declared]


def _settings(connection: duckdb.DuckDBPyConnection) -> dict[str, tuple[int, str]]:
    rows = connection.execute("SELECT name, value FROM setting ORDER BY name").fetchall()
    columns: dict[str, tuple[digests.Kind, list[object]]] = {
        "name": ("text", [row[0] for row in rows]),
        "value": ("text", [row[1] for row in rows]),
    }
    return {"setting": (len(rows), digests.digest_rows(columns, len(rows)))}


def _lines(parts: Mapping[str, tuple[int, str]]) -> str:
    return "\n".join(f"{name} {rows} {digest}" for name, (rows, digest) in sorted(parts.items()))


def _link(before: str, entry: int, how: str, parts: Mapping[str, tuple[int, str]]) -> tuple[int, str, str, str]:
    lines = _lines(parts)
    return entry, how, lines, digests.chain(before, entry, how, lines)
