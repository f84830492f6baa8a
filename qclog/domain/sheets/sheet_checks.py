"""What must hold between the entries of a sheet: formulas, limits, shapes, stages, positions."""

from __future__ import annotations

from collections.abc import Iterator

from qclog.domain.jobs import STAGES
from qclog.domain.quantities import units
from qclog.domain.sheets import formula
from qclog.domain.sheets.casetypes import Characteristic, Sheet
from qclog.errors import FormulaError

Finding = tuple[str, str, object, str]  # characteristic, key, found, reason


def check(sheet: Sheet) -> Iterator[Finding]:
    """Every problem between entries: (characteristic, key, what was found, reason)."""
    by_code = {c.code: c for c in sheet.characteristics}
    parsed: dict[str, formula.Node] = {}
    for characteristic in sheet.characteristics:
        yield from _check_shape(characteristic)
        yield from _check_over_positions(characteristic)
        yield from _check_stages(characteristic)
        if characteristic.formula is not None:
            try:
                node = formula.parse(characteristic.formula)
            except FormulaError as error:
                yield characteristic.code, "formula", None, error.message
                continue
            problems = list(_check_names(characteristic, node, by_code))
            yield from problems
            if not problems:
                parsed[characteristic.code] = node
    for code, node in parsed.items():
        yield from _check_dimension(by_code[code], node, by_code)
    yield from _check_loops(parsed)


def _check_over_positions(c: Characteristic) -> Iterator[Finding]:
    fewest = {"mean": 0, "tilt": 3}.get(c.over_positions, 2)
    if len(c.positions) < fewest:
        yield c.code, "over_positions", c.over_positions, f"needs {fewest} or more positions"
    if c.over_positions != "mean" and (c.in_words or c.derived):
        yield c.code, "over_positions", c.over_positions, "is for numbers that are read"


def _check_shape(c: Characteristic) -> Iterator[Finding]:
    sets = [s for _, s in c.limits]
    if c.in_words and sets:
        yield c.code, "limits", None, f"can't be given for a {c.shape} characteristic"
    if c.shape == "category" and len(c.categories) < 2:
        yield c.code, "categories", None, "needs at least two words for a category characteristic"
    if c.categories and c.shape != "category":
        yield c.code, "categories", None, 'is only for shape = "category"'
    needs = {"band": ("lower", "upper"), "upper": ("upper",), "lower": ("lower",), "target": ("nominal",)}
    for name, limits in c.limits:
        missing = [k for k in needs.get(c.shape, ()) if getattr(limits, k) is None]
        if missing:
            reason = f"has no {' and no '.join(missing)}, which shape = {c.shape!r} needs"
            yield c.code, "limits", name, reason
    if c.shape in needs and not sets:
        yield c.code, "shape", c.shape, "needs limits"
    if c.derived and c.in_words:
        yield c.code, "formula", None, "gives a number, so the shape can't be in words"


def _check_stages(c: Characteristic) -> Iterator[Finding]:
    if not c.stages:
        yield c.code, "stages", None, "is empty"
    for stage in c.forced_at:
        if stage not in c.stages:
            yield c.code, "forced_at", stage, "is not among its stages"


def _check_names(c: Characteristic, node: formula.Node, by_code: dict[str, Characteristic]) -> Iterator[Finding]:
    if c.positions:
        yield c.code, "positions", None, "can't be given for a derived characteristic: name one in the formula"
    functions = {id(n.name): n.function for n in _across(node)}
    for name in formula.names(node):
        used = by_code.get(name.code)
        if used is None:
            yield c.code, "formula", name.code, "is not a characteristic of this sheet"
            continue
        if used.in_words:
            yield c.code, "formula", name.code, "is read in words, so it can't be used in arithmetic"
        if name.stage is not None and name.stage not in STAGES:
            yield c.code, "formula", name.stage, f"is not a stage (there are: {', '.join(STAGES)})"
        elif name.stage is not None and name.stage not in used.stages:
            yield c.code, "formula", f"{name.code}.{name.stage}", "is a stage it is not measured at"
        if name.position is not None and name.position not in used.positions:
            yield c.code, "formula", f"{name.code}@{name.position}", "is not one of its positions"
        function = functions.get(id(name))
        needed = formula.ACROSS_POSITIONS[function][1] if function else 1
        if len(used.positions or ("",)) < needed:
            yield c.code, "formula", f"{function}({name.code})", f"needs at least {needed} positions"


def _across(node: formula.Node) -> Iterator[formula.Across]:
    match node:
        case formula.Across():
            yield node
        case formula.Magnitude(inner=inner) | formula.Negative(inner=inner):
            yield from _across(inner)
        case formula.Pair(left=left, right=right):
            yield from _across(left)
            yield from _across(right)


def _check_dimension(c: Characteristic, node: formula.Node, by_code: dict[str, Characteristic]) -> Iterator[Finding]:
    try:
        found = formula.dimensionality(node, lambda code: by_code[code].unit)
    except FormulaError as error:
        yield c.code, "formula", c.formula, error.message
        return
    if found != units.dimensionality(c.unit):
        one, two = formula.dimension_word(found), formula.dimension_word(units.dimensionality(c.unit))
        yield c.code, "formula", c.formula, f"comes out as {one}, but its unit {c.unit} is {two}"


def _check_loops(parsed: dict[str, formula.Node]) -> Iterator[Finding]:
    uses = {code: {n.code for n in formula.names(node) if n.code in parsed} for code, node in parsed.items()}
    for code, used in uses.items():
        seen: set[str] = set()
        frontier = set(used)
        while frontier:
            if code in frontier:
                yield code, "formula", code, "loops: it is worked out from itself"
                break
            seen |= frontier
            frontier = set().union(*(uses[f] for f in frontier)) - seen
