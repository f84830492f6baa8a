"""Reads a case-type sheet from TOML and reports every problem at once with the line it is on."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from qclog.domain.jobs import GAUGE_KINDS, STAGES
from qclog.domain.quantities import units
from qclog.domain.sheets import sheet_checks, sums_file
from qclog.domain.sheets.casetypes import LIMIT_SETS, OVER_POSITIONS, SHAPES, Characteristic, Limits, Sheet, Variant
from qclog.domain.sheets.conditions import choices_of
from qclog.domain.sheets.lines import Lines
from qclog.domain.sheets.sheet_numbers import NOT_PLAUSIBLE, number_of, show
from qclog.errors import Problem, SheetError, UnitError

SHEET_KEYS = {
    "code": str,
    "name": str,
    "family": str,
    "version": str,
    "in_force": date,
    "view": str,
    "note": str,
    "caution": str,
    "variant": list,
    "characteristic": list,
    "sum": list,
}
CHARACTERISTIC_KEYS = {
    "code": str,
    "name": str,
    "unit": str,
    "step": float,
    "stages": list,
    "gauge_kind": str,
    "positions": list,
    "view": str,
    "over_positions": str,
    "shape": str,
    "categories": list,
    "limits": dict,
    "plausible": list,
    "forced_at": list,
    "formula": str,
    "parts": list,
    "conditions": list,
    "states": list,
    "variants": list,
    "source": str,
    "caution": str,
}
MAX_BYTES = 1_000_000
_CODE = re.compile(r"[^\W_][\w .+/-]*", re.ASCII)
_TYPE_WORDS = {
    str: "text in quotes",
    list: "a list",
    dict: "a table",
    float: "a number",
    int: "a whole number",
    bool: "true or false",
    date: "a date",
}


def read_sheet(text: str, file: str = "sheet", *, stored: bool = False) -> Sheet:
    """The sheet that `text` (TOML) describes.

    Raises SheetError with one Problem for each thing wrong, in the order of the lines. One that is `stored` was
    checked by the rules of its day, and later ones never shut its log: a number that is none counts as not given.
    """
    if len(text) > MAX_BYTES:
        raise _error(file, [Problem(file, None, None, None, f"is longer than {MAX_BYTES:,} letters")])
    text = text.removeprefix("\ufeff")
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _error(file, [_syntax_problem(file, str(error))]) from error
    except ValueError as error:  # a number of more digits than Python reads
        raise _error(file, [_long_number_problem(file, text)]) from error
    reader = _SheetReader(file, Lines(text))
    sheet = reader.sheet(content, text)
    if reader.problems and not stored:
        raise _error(file, reader.problems)
    return sheet


def _error(file: str, problems: list[Problem]) -> SheetError:
    problems = sorted(problems, key=lambda p: p.line or 0)
    many = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
    return SheetError(f"{file} has {many}", tuple(problems))


def _syntax_problem(file: str, message: str) -> Problem:
    match = re.search(r"line (\d+)", message)
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    return Problem(file, int(match[1]) if match else None, None, None, f"is not TOML: {reason}")


def _long_number_problem(file: str, text: str) -> Problem:
    longest = max(re.finditer(r"[0-9_]+", text), key=lambda m: len(m[0]))
    line = text.count("\n", 0, longest.start()) + 1
    return Problem(file, line, None, f"{longest[0][:12]}...", f"is a number of {len(longest[0]):,} digits")


class _SheetReader:
    def __init__(self, file: str, lines: Lines) -> None:
        self.file = file
        self.lines = lines
        self.problems: list[Problem] = []

    def problem(self, path: tuple[str | int, ...], found: object, reason: str) -> None:
        column = next((p for p in reversed(path) if isinstance(p, str)), None)
        shown = None if found is None else show(found)
        self.problems.append(Problem(self.file, self.lines.of(path), column, shown, reason))

    def sheet(self, content: Mapping[str, Any], text: str) -> Sheet:
        given = self._keys((), content, SHEET_KEYS, ("code", "name", "family", "version"))
        for key in ("code", "version"):
            self._check_code((key,), given.get(key))
        if isinstance(given.get("in_force"), datetime):
            given["in_force"] = given["in_force"].date()
        variants = tuple(self._variant(i, v) for i, v in enumerate(given.get("variant", ())))
        rows = given.get("characteristic", [])
        if not rows:
            self.problem(("characteristic",), None, "is missing: a sheet needs at least one [[characteristic]]")
        read = [(i, self._characteristic(i, row, variants)) for i, row in enumerate(rows)]
        found = {i: c for i, c in read if c is not None}
        sheet = Sheet(
            **{k: v for k, v in given.items() if k not in ("variant", "characteristic", "sum")}
            | {k: "" for k in ("code", "name", "family", "version") if k not in given},
            variants=variants,
            characteristics=tuple(found.values()),
            text=text,
        )
        places = {c.code: i for i, c in reversed(found.items())}
        for code, key, what, reason in sheet_checks.check(sheet):
            self.problem(("characteristic", places[code], key), what, reason)
        self._repeats("characteristic", {i: c.code for i, c in found.items()})
        self._repeats("variant", dict(enumerate(v.code for v in variants)))
        by_code = {c.code: c for c in sheet.characteristics}
        codes = tuple(v.code for v in variants)
        return replace(sheet, sums=sums_file.read_sums(given.get("sum", []), by_code, codes, self._keys, self.problem))

    def _repeats(self, table: str, codes: Mapping[int, str]) -> None:
        seen: set[str] = set()
        for i, code in codes.items():
            if code and code in seen:
                self.problem((table, i, "code"), code, "is used twice")
            seen.add(code)

    def _check_code(self, path: tuple[str | int, ...], code: object) -> None:
        if isinstance(code, str) and not (_CODE.fullmatch(code) and len(code) <= 60):
            self.problem(path, code, "must start with a letter or digit, then letters, digits, . _ - + / and spaces")

    def _keys(
        self,
        path: tuple[str | int, ...],
        row: object,
        known: Mapping[str, type],
        required: tuple[str, ...],
    ) -> dict[str, Any]:
        """The well-typed entries of one table; everything else is reported."""
        if not isinstance(row, Mapping):
            self.problem(path, row, "must be a table")
            return {}
        given: dict[str, Any] = {}
        for key, value in row.items():
            if key not in known:
                self.problem((*path, key), None, f"is not a word of the sheet (there are: {', '.join(known)})")
                continue
            fault = _fault(value, known[key], counted=key == "positions")
            if fault is not None:
                self.problem((*path, key), value, fault)
            elif known[key] is float:
                given[key] = float(value)
            elif key == "positions" and isinstance(value, int):
                given[key] = [str(i + 1) for i in range(value)] if 0 <= value <= 360 else []
            else:
                given[key] = value
        for key in required:
            if key not in row:
                self.problem((*path, key), None, "is missing")
        return given

    def _variant(self, i: int, row: object) -> Variant:
        path = ("variant", i)
        given = self._keys(path, row, {"code": str, "name": str, "details": dict}, ("code", "name"))
        details = tuple((str(k), str(v)) for k, v in given.get("details", {}).items())
        return Variant(given.get("code", ""), given.get("name", ""), details)

    def _characteristic(self, i: int, row: object, variants: tuple[Variant, ...]) -> Characteristic | None:
        path = ("characteristic", i)
        given = self._keys(path, row, CHARACTERISTIC_KEYS, ("code", "name", "unit"))
        self._check_code((*path, "code"), given.get("code"))
        choices = {
            "stages": STAGES,
            "forced_at": STAGES,
            "variants": tuple(v.code for v in variants),
        }
        for key in ("stages", "positions", "categories", "forced_at", "parts", "conditions", "states", "variants"):
            if key in given:
                given[key] = self._words((*path, key), given[key], choices.get(key))
        if "states" in given:
            given["states"] = self._stated((*path, "states"), given["states"], given.get("conditions", ()))
        for key, known in (("shape", SHAPES), ("gauge_kind", GAUGE_KINDS), ("over_positions", OVER_POSITIONS)):
            if key in given and given[key] not in known:
                self.problem((*path, key), given.pop(key), f"must be one of {', '.join(known)}")
        if "unit" in given:
            try:
                given["unit"] = units.parse_unit(given["unit"])
            except UnitError as error:
                self.problem((*path, "unit"), given.pop("unit"), error.message)
        if given.get("step", 1.0) <= 0:
            self.problem((*path, "step"), given.pop("step"), "must be more than 0")
        if "limits" in given:
            given["limits"] = self._limits(path, given["limits"])
        if "plausible" in given:
            given["plausible"] = self._pair((*path, "plausible"), given["plausible"])
        given.setdefault("shape", _shape_of(given.get("limits", ())))
        if not {"code", "name", "unit"} <= given.keys():
            return None
        return Characteristic(**given)

    def _words(
        self, path: tuple[str | int, ...], values: list[object], known: tuple[str, ...] | None
    ) -> tuple[str, ...]:
        words: list[str] = []
        for value in values:
            word = str(value) if isinstance(value, str | int) and not isinstance(value, bool) else None
            if word is None or not word.strip():
                self.problem(path, value, "must hold words")
            elif known is not None and word not in known:
                self.problem(path, word, f"must be one of {', '.join(known) or 'the variants, and there are none'}")
            elif word in words:
                self.problem(path, word, "stands there twice")
            else:
                words.append(word)
        return tuple(words)

    def _stated(
        self, path: tuple[str | int, ...], states: tuple[str, ...], conditions: tuple[str, ...]
    ) -> tuple[str, ...]:
        """What the characteristic states of its own conditions: one of a choice at most."""
        groups = choices_of(conditions)
        for state in states:
            mine = [group for group in groups if state in group]
            if not mine:
                self.problem(
                    path, state, f"must be one of the conditions ({', '.join(conditions) or 'there are none'})"
                )
            elif sum(other in mine[0] for other in states) > 1:
                self.problem(path, state, f"states more than one of {' or '.join(mine[0])}")
        return states

    def _limits(self, path: tuple[str | int, ...], sets: Mapping[str, object]) -> tuple[tuple[str, Limits], ...]:
        if sets and set(sets) <= {"nominal", "lower", "upper"}:
            sets = {"any": sets}
        found: list[tuple[str, Limits]] = []
        for name, row in sets.items():
            here = (*path, "limits", name)
            if name not in LIMIT_SETS:
                self.problem(here, None, f"is not a limit set (there are: {', '.join(LIMIT_SETS)})")
                continue
            given = self._keys(here, row, {"nominal": float, "lower": float, "upper": float}, ())
            limits = Limits(**given)
            ordered = [v for v in (limits.lower, limits.nominal, limits.upper) if v is not None]
            if ordered != sorted(ordered):
                self.problem(here, ordered, "must run lower, nominal, upper in that order")
            found.append((name, limits))
        return tuple(found)

    def _pair(self, path: tuple[str | int, ...], values: list[object]) -> tuple[float | None, float | None]:
        numbers = [n for n in map(number_of, values) if n is not None]
        if len(values) != 2 or len(numbers) != 2 or not numbers[0] < numbers[1]:
            self.problem(path, values, "must be two finite numbers, the smaller first")
            return (None, None)
        return numbers[0], numbers[1]


def _fault(value: object, wanted: type, *, counted: bool) -> str | None:
    """Why a value is not of the type `wanted`; None if it is. What is `counted` may be a whole number instead."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and (wanted is float or (isinstance(value, int) and (wanted is int or counted))):
        return None if number_of(value) is not None else NOT_PLAUSIBLE
    if not isinstance(value, wanted) or (wanted is int and isinstance(value, bool)):
        return f"must be {_TYPE_WORDS[wanted]}"
    return "is empty" if isinstance(value, str) and not value.strip() else None


def _shape_of(limits: tuple[tuple[str, Limits], ...]) -> str:
    """The shape a characteristic has when the sheet does not say: what all its limit sets amount to."""
    sets = [s for _, s in limits]
    if not sets:
        return "record"
    for shape, wanted in (
        ("target", ("nominal",)),
        ("band", ("lower", "upper")),
        ("upper", ("upper",)),
        ("lower", ("lower",)),
    ):
        if all(getattr(s, name) is not None for s in sets for name in wanted):
            return shape
    return "record"
