"""Checks the shim stock of an exchange folder against the log, and readies what is new."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from qclog.domain import stored
from qclog.domain.quantities import units
from qclog.domain.sheets.sheet_numbers import number_of
from qclog.errors import Problem, UnitError
from qclog.exchange.folder import Folder
from qclog.services.exchange.import_snapshot import Snapshot
from qclog.services.exchange.import_tables import Cells, Known

Size = tuple[str, float, float]
_MOVEMENT = ("set", "nominal", "measured", "moved_at", "change", "why", "job", "by", "note")
_COLUMN = {"set": "stock_set", "by": "person"}
_MOST = 1_000_000


@dataclass(slots=True)
class _Stock:
    sizes: dict[Size, stored.ShimSize]
    units: dict[str, str]
    counts: Counter[Size]
    movements: Counter[tuple[Any, ...]]
    new_sizes: list[dict[str, Any]] = field(default_factory=list)
    minimums: dict[tuple[str, float], int] = field(default_factory=dict)
    new_moves: list[dict[str, Any]] = field(default_factory=list)


def check_stock(seen: Snapshot, folder: Folder, known: Known) -> tuple[dict[str, pl.DataFrame], list[Problem]]:
    """The rows to add to each table of the log, and every problem."""
    stock = _stock_in(seen)
    problems = []
    for table, check in (("shim_stock", _sizes), ("shim_movements", _moves)):
        cells = Cells(f"{table}.csv", known.zone, known.unread)
        check(
            cells, folder.tables[table].drop_nulls(["set", "nominal", "measured"]).iter_rows(named=True), known, stock
        )
        problems += cells.problems
    entry = {"entry": known.entry}
    least = [{"stock_set": s, "nominal": n, "minimum": m} | entry for (s, n), m in stock.minimums.items()]
    texts = dict.fromkeys(("job", "person", "note"), pl.String)
    return {
        "shim_size": pl.DataFrame(
            [row | entry for row in stock.new_sizes], schema_overrides={"layer": pl.Float64}, infer_schema_length=None
        ),
        "shim_minimum": pl.DataFrame(least),
        "shim_movement": pl.DataFrame(
            [row | entry for row in stock.new_moves], schema_overrides=texts, infer_schema_length=None
        ),
    }, problems


def _stock_in(seen: Snapshot) -> _Stock:
    sizes = {(r.stock_set, r.nominal, r.measured): r for r in seen.rows("shim_stock", stored.ShimSize)}
    return _Stock(
        sizes,
        {key[0]: row.unit for key, row in sizes.items()},
        Counter({key: row.leaves for key, row in sizes.items()}),
        Counter(tuple(getattr(row, c) for c in _MOVEMENT) for row in seen.rows("shim_movements", stored.ShimMovement)),
    )


def _above_0(text: str) -> float:
    value = float(text)
    if (number_of(value) or 0.0) <= 0:
        raise ValueError(text)
    return value


def _whole(text: str) -> int:
    value = int(text)
    if not -_MOST <= value <= _MOST:
        raise ValueError(text)
    return value


def _length(text: str) -> str:
    unit = units.parse_unit(text)
    if units.dimension(unit) != "length":
        raise UnitError(f"{unit} is no length", hint="thou or mm")
    return unit


def _key(cells: Cells, row: dict[str, Any]) -> Size | None:
    nominal, measured = cells.read(row, "nominal", _above_0), cells.read(row, "measured", _above_0)
    cells.names(row, "set")
    if len(row["set"]) > 60:
        cells.wrong(row, "set", "is longer than 60 letters")
    return None if nominal is None or measured is None else (row["set"], nominal, measured)


def _sizes(cells: Cells, rows: Iterable[dict[str, Any]], _known: Known, stock: _Stock) -> None:
    for row in rows:
        key = _key(cells, row)
        unit = cells.read(row, "unit", _length)
        layer = cells.read(row, "layer", _above_0)
        minimum = cells.read(row, "minimum", _whole)
        if key is None or unit is None:
            continue
        if layer is not None and layer > key[2]:
            cells.wrong(row, "layer", "is thicker than its laminated shim")
        if minimum is not None and minimum < 0:
            cells.wrong(row, "minimum", "is less than 0")
        if stock.units.setdefault(key[0], unit) != unit:
            cells.wrong(row, "unit", f"differs from the set's: {stock.units[key[0]]}")
        before = stock.sizes.get(key)
        if before is None:
            new = {"stock_set": key[0], "nominal": key[1], "measured": key[2], "unit": unit, "layer": layer}
            stock.sizes[key] = stored.ShimSize(*key, unit, layer, leaves=0, minimum=None)
            stock.new_sizes.append(new)
        elif before.layer != layer:
            cells.wrong(row, "layer", f"differs from what there is already: {before.layer}")
        _check_minimum(cells, row, key, minimum, stock)


def _check_minimum(cells: Cells, row: dict[str, Any], key: Size, minimum: int | None, stock: _Stock) -> None:
    """One minimum for a packet size; another one than the log's is said with the command, not by import."""
    if minimum is None:
        return
    in_log = stock.sizes[key].minimum
    said = stock.minimums.get(key[:2], in_log)
    if said is not None and said != minimum:
        cells.wrong(row, "minimum", f"differs from what there is for this size already: {said}")
    elif in_log is None:
        stock.minimums[key[:2]] = minimum


def _moves(cells: Cells, rows: Iterable[dict[str, Any]], known: Known, stock: _Stock) -> None:
    seen: Counter[tuple[Any, ...]] = Counter()
    for row in rows:
        key = _key(cells, row)
        change, moved_at = cells.read(row, "change", _whole), cells.moment(row, "moved_at")
        cells.points_at(row, "job", known.jobs, "job")
        cells.points_at(row, "by", known.people, "person")
        if key is None or change is None or moved_at is None or row["why"] is None:
            continue
        if key not in stock.sizes:
            cells.wrong(row, "nominal", "is a size that neither shim_stock.csv nor the log has")
            continue
        faults = list(_faults(row, change))
        for column, reason in faults:
            cells.wrong(row, column, reason)
        said = (*key, moved_at, change, row["why"], row["job"], row["by"], row["note"])
        seen[said] += 1
        if not faults and seen[said] > stock.movements[said]:
            stock.new_moves.append({_COLUMN.get(c, c): v for c, v in zip(_MOVEMENT, said, strict=True)})
            stock.counts[key] += change
    for key in sorted(k for k, n in stock.counts.items() if n < 0):
        reason = (
            f"leaves {stock.counts[key]} of size {key[1]:g} measuring {key[2]:g} in {key[0]}: more went out than in"
        )
        cells.problems.append(Problem(cells.file, None, "change", None, reason))


def _faults(row: dict[str, Any], change: int) -> Iterable[tuple[str, str]]:
    if change == 0:
        yield "change", "moves nothing"
    if row["why"] in ("taken", "returned") and row["job"] is None:
        yield "job", f"is missing: leaves {row['why']} belong to a job"
    wrong_way = (row["why"] in ("bought", "returned") and change < 0) or (
        row["why"] in ("taken", "scrapped") and change > 0
    )
    if wrong_way:
        yield "change", f"has the wrong sign for leaves {row['why']}"
