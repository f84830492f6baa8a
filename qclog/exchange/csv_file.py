"""One CSV file of an exchange folder, read as text with the line of each row, and everything wrong with it."""

from __future__ import annotations

import csv
import difflib
import io
from pathlib import Path

import polars as pl

from qclog.errors import Problem
from qclog.exchange.tables import MAX_CELL, Table


def read_table(path: Path, table: Table) -> tuple[pl.DataFrame, list[Problem]]:
    """The rows of `path`: every column of `table` as text (null: not given), and `line`.

    Rows that break the rules of the file itself are left out of the frame and reported.
    """
    empty = _frame(table, {}, [])
    text, problems = _decode(path)
    if text is None:
        return empty, problems
    header = next(csv.reader(io.StringIO(text[: text.find("\n") + 1 or None])), [])
    header = [name.strip() for name in header]
    problems += _check_header(header, table)
    if problems:
        return empty, problems
    columns, lines = _split_plain(text, len(header)) or (None, None)
    if columns is None or lines is None:
        columns, lines, problems = _split_quoted(text, len(header), table.file)
    frame = _frame(table, dict(zip(header, columns, strict=True)), lines)
    return frame, problems + _check_cells(frame, table)


def _frame(table: Table, columns: dict[str, pl.Series], lines: pl.Series | list[int]) -> pl.DataFrame:
    frame = pl.DataFrame({name: columns[name] for name in table.columns if name in columns})
    frame = frame.with_columns(line=pl.Series(lines, dtype=pl.Int64))
    frame = frame.with_columns(
        pl.lit(None, dtype=pl.String).alias(name) for name in table.columns if name not in columns
    )
    text = pl.col(table.columns).str.strip_chars()
    return frame.with_columns(pl.when(text == "").then(None).otherwise(text).name.keep())


def _decode(path: Path) -> tuple[str | None, list[Problem]]:
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


def _split_plain(text: str, width: int) -> tuple[list[pl.Series], pl.Series] | None:
    """Columns of a file without quotes, blank lines or odd rows, at the speed of polars; None if it has any."""
    if '"' in text:
        return None
    plain = text.replace("\r\n", "\n") if "\r" in text else text
    body = plain[plain.index("\n") + 1 :] if "\n" in plain else ""
    rows = body.count("\n") + (not body.endswith("\n") and bool(body))
    if "\r" in plain or not body or body.count(",") != rows * (width - 1):
        return None
    if body.startswith("\n") or "\n\n" in body:
        return None
    frame = pl.read_csv(
        body.encode(), has_header=False, infer_schema=False, quote_char=None, truncate_ragged_lines=True
    )
    # Two odd rows can make up for each other in the count of commas: a short one leaves its last cell null.
    if frame.shape != (rows, width) or (width > 1 and frame.to_series(width - 1).is_null().any()
        and not _all_full(body, width)):
        return None
    return frame.get_columns(), pl.int_range(2, rows + 2, eager=True)


def _all_full(body: str, width: int) -> bool:
    counts = pl.Series(body.removesuffix("\n").split("\n")).str.count_matches(",", literal=True)
    return bool((counts == width - 1).all())


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
    for name in table.columns:
        bad = frame.filter(pl.col(name).str.len_chars() > MAX_CELL)
        reason = f"is longer than {MAX_CELL} letters"
        problems += [Problem(table.file, row[0], name, row[1][:40] + "...", reason) for row in bad.select("line", name).rows()]
    return problems
