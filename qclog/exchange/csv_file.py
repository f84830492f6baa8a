"""One CSV file of an exchange folder, read as text with the line of each row, and everything wrong with it."""

from __future__ import annotations

import csv
import difflib
import io
from pathlib import Path

import numpy as np
import polars as pl

from qclog.errors import Problem
from qclog.exchange.plain_cells import read_plain
from qclog.exchange.tables import MAX_CELL, MAX_FILE_BYTES, Table

_LONGEST_HEADER = 100_000
# A file without any of these has no cell to strip: what Unicode calls white space, and a cell of nothing.
_PADDING = ('""', " ", "\t", "\v", "\f")
_WIDER_PADDING = tuple("\u0085\u00a0\u1680\u2028\u2029\u202f\u205f\u3000") + tuple(map(chr, range(0x2000, 0x200B)))


def read_table(path: Path, table: Table) -> tuple[pl.DataFrame, list[Problem]]:
    """The rows of `path`: every column of `table` as text (null: not given), and `line`.

    Rows that break the rules of the file itself are left out of the frame and reported.
    """
    empty = _frame(table, {}, [])
    text, problems = _decode(path)
    if text is None:
        return empty, problems
    try:
        header = next(csv.reader(io.StringIO(text[:_LONGEST_HEADER], newline=""), strict=True), [])
    except csv.Error as error:
        return empty, [Problem(table.file, 1, None, None, f"can't be split into cells: {error}")]
    header = [name.strip() for name in header]
    problems += _check_header(header, table)
    if problems:
        return empty, problems
    even = _split_even(text, len(header))
    columns, lines, problems = (*even, problems) if even else _split_quoted(text, len(header), table.file)
    frame = _frame(table, dict(zip(header, columns, strict=True)), lines)
    if not even or any(mark in text for mark in (_PADDING if text.isascii() else _PADDING + _WIDER_PADDING)):
        frame = _without_padding(frame, table)
    if "'" in text:
        frame = read_plain(frame, table.columns)
    return frame, problems + _check_cells(frame, table)


def _frame(table: Table, columns: dict[str, pl.Series], lines: list[int]) -> pl.DataFrame:
    frame = pl.DataFrame({name: columns[name] for name in table.columns if name in columns})
    frame = frame.with_columns(line=pl.Series(lines, dtype=pl.Int64))
    return frame.with_columns(
        pl.lit(None, dtype=pl.String).alias(name) for name in table.columns if name not in columns
    )


def _without_padding(frame: pl.DataFrame, table: Table) -> pl.DataFrame:
    """Cells without space round them; a cell of nothing else is not given."""
    text = pl.col(table.columns).str.strip_chars()
    return frame.with_columns(pl.when(text == "").then(None).otherwise(text).name.keep())


def _decode(path: Path) -> tuple[str | None, list[Problem]]:
    if path.stat().st_size > MAX_FILE_BYTES:
        reason = f"is larger than {MAX_FILE_BYTES:,} bytes: bring it in as several folders"
        return None, [Problem(path.name, None, None, None, reason)]
    raw = path.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        found = raw[error.start : error.start + 1].hex()
        reason = f"is not UTF-8 text (byte {found}): save the file as UTF-8"
        return None, [Problem(path.name, line, None, None, reason)]
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        return None, [Problem(path.name, line, None, None, "holds a zero byte: it is not text")]
    if not text.strip():
        return None, [Problem(path.name, 1, None, None, "is empty: a header line is needed")]
    return text, []


def _check_header(header: list[str], table: Table) -> list[Problem]:
    problems = []
    missing = [name for name in table.required if name not in header]
    if len(missing) == len(table.required):
        wanted = ",".join(table.columns)
        found = ",".join(header)[:80]
        if ";" in found:
            reason = "is separated by semicolons: save it with commas between the cells"
            return [Problem(table.file, 1, None, found, reason)]
        return [Problem(table.file, 1, None, found, f"is not a header line: it names columns, as {wanted}")]
    for i, name in enumerate(header):
        if name not in table.columns:
            near = difflib.get_close_matches(name, table.columns, n=1)
            hint = f" (did you mean {near[0]}?)" if near else f" (there are: {', '.join(table.columns)})"
            problems.append(Problem(table.file, 1, name or f"column {i + 1}", None, f"is not a column{hint}"))
        elif name in header[:i]:
            problems.append(Problem(table.file, 1, name, None, "stands in the header twice"))
    problems += [Problem(table.file, 1, name, None, "is a column that must be given") for name in missing]
    return problems


def _split_even(text: str, width: int) -> tuple[list[pl.Series], list[int]] | None:
    """Columns of a file with one row a line and equal cells in each, at the speed of polars; else None.

    If the commas of the whole file are as many as they should be and no row has too many, none has too few; only
    where quoted cells hold commas is each line looked at.
    """
    plain = text.replace("\r\n", "\n") if "\r" in text else text
    _, _, body = plain.partition("\n")
    raw = body.encode()
    rows = raw.count(b"\n") + (bool(raw) and not raw.endswith(b"\n"))
    if not rows or "\r" in plain or not (raw.count(b",") == rows * (width - 1) or _is_even(raw, width)):
        return None
    try:
        frame = pl.read_csv(raw, has_header=False, infer_schema=False)
    except pl.exceptions.ComputeError:
        return None
    if frame.shape != (rows, width):
        return None
    return frame.get_columns(), list(range(2, rows + 2))


def _is_even(raw: bytes, width: int) -> bool:
    """Whether every line has `width` cells and no quoted cell holds a line end."""
    letters = np.frombuffer(raw if raw.endswith(b"\n") else raw + b"\n", dtype=np.uint8)
    quotes = letters == ord('"')
    outside = ~np.bitwise_xor.accumulate(quotes) if quotes.any() else None
    commas, ends = letters == ord(","), letters == ord("\n")
    if outside is not None:
        if not outside[ends].all():
            return False
        commas &= outside
    at = np.flatnonzero(ends)
    counts = np.diff(np.searchsorted(np.flatnonzero(commas), at), prepend=0)
    lengths = np.diff(at, prepend=-1)
    return bool((counts == width - 1).all() and (lengths > 1).all())


def _split_quoted(text: str, width: int, file: str) -> tuple[list[pl.Series], list[int], list[Problem]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[list[str]] = []
    lines: list[int] = []
    problems: list[Problem] = []
    next(reader)
    before = reader.line_num
    try:
        for row in reader:
            line, before = before + 1, reader.line_num
            if not row:
                continue
            if len(row) != width:
                reason = f"has {len(row)} cells where the header has {width}"
                problems.append(Problem(file, line, None, None, reason))
                continue
            rows.append(row)
            lines.append(line)
    except csv.Error as error:
        problems.append(Problem(file, before + 1, None, None, f"can't be split into cells: {error}"))
    columns = zip(*rows, strict=True) if rows else [()] * width
    return [pl.Series(list(column), dtype=pl.String) for column in columns], lines, problems


def _check_cells(frame: pl.DataFrame, table: Table) -> list[Problem]:
    problems = []
    for name in table.required:
        lines = frame.filter(pl.col(name).is_null())["line"]
        problems += [Problem(table.file, line, name, None, "must be given") for line in lines]
    for name, words in table.choices:
        bad = frame.filter(pl.col(name).is_not_null() & ~pl.col(name).is_in(list(words)))
        reason = f"must be one of {', '.join(words)}"
        problems += [Problem(table.file, line, name, found, reason) for line, found in bad.select("line", name).rows()]
    longest = frame.select(pl.col(table.columns).str.len_bytes().max()).row(0, named=True)
    for name in (name for name, size in longest.items() if size is not None and size > MAX_CELL):
        bad = frame.filter(pl.col(name).str.len_chars() > MAX_CELL).select("line", name)
        reason = f"is longer than {MAX_CELL} letters"
        problems += [Problem(table.file, line, name, found[:40] + "...", reason) for line, found in bad.rows()]
    return problems
