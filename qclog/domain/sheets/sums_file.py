"""Reads the [[sum]] tables of a sheet: words, numbers, and that every characteristic named is there and fits."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Characteristic
from qclog.domain.sheets.sheet_numbers import NOT_PLAUSIBLE, number_of
from qclog.domain.sheets.sums import (
    KINDS,
    MATERIALS,
    PLUS_SIDES,
    SAFER,
    SHIM_LOCATIONS,
    TEMPERATURES,
    WAYS,
    AnySum,
    Choosing,
)

Path = tuple[str | int, ...]
Report = Callable[[Path, object, str], None]
KeysOf = Callable[[Path, object, Mapping[str, type], tuple[str, ...]], dict[str, Any]]

_COMMON = {"kind": str, "code": str, "name": str, "variants": list, "source": str, "caution": str}
_CHOOSING = {"stock": str, "tolerance": float, "leaves": list, "safer": str}


@dataclass(frozen=True, slots=True)
class _Words:
    """The words of one kind: their types, those that must be given, and what may be said with some.

    named : characteristics, each with the dimension it must have ("words" for a pattern).
    """

    types: Mapping[str, type]
    required: tuple[str, ...]
    named: Mapping[str, str]
    choices: Mapping[str, tuple[str, ...]]


_LENGTH, _TORQUE, _WORDS = "length", "torque", "words"
_OF_KIND = {
    "pack": _Words(
        {
            "shim_location": str, "gap": str, "trial_pack": str, "final_pack": str, "gasket": str,
            "gasket_nominal": float,
            "gasket_crushed": str, "crush": float, "crush_u": float, "sealant": bool, "pinch": float, "float": float,
            "limits": dict, "closure_limit": float, "target_at": str, **_CHOOSING,
        },
        ("shim_location", "gap"),
        dict.fromkeys(("gap", "trial_pack", "final_pack", "gasket", "gasket_crushed"), _LENGTH),
        {"shim_location": SHIM_LOCATIONS, "safer": SAFER, "target_at": TEMPERATURES},
    ),
    "side_shims": _Words(
        {
            "wheel_side": str, "far_side": str, "backlash": str, "plus_side": str, "factor": float,
            "gear_teeth": int, "pinion_teeth": int, "pressure_angle": float, "spiral_angle": float, "zero_play": str,
            "each_side": float, "good_variation": float, "most_variation": float, **_CHOOSING,
        },
        ("wheel_side", "far_side", "backlash", "plus_side"),
        dict.fromkeys(("wheel_side", "far_side", "backlash", "zero_play"), _LENGTH),
        {"plus_side": PLUS_SIDES, "safer": SAFER},
    ),
    "pinion_shim": _Words(
        {"old_shim": str, "old_mark": str, "new_mark": str, "sign": int, "final_pack": str, **_CHOOSING},
        ("old_shim", "old_mark", "new_mark", "sign"),
        dict.fromkeys(("old_shim", "old_mark", "new_mark", "final_pack"), _LENGTH),
        {"safer": SAFER},
    ),
    "pattern": _Words(
        {"drive": str, "coast": str, "more_shim": str}, ("drive", "more_shim"),
        dict.fromkeys(("drive", "coast"), _WORDS), {"more_shim": WAYS},
    ),
    "growth": _Words(
        {"of": str, "span_mm": float, "case": str, "shaft": str, "bench_at": float, "running_at": float,
            "limits": dict},
        ("of", "span_mm", "case", "shaft", "running_at"), {"of": _LENGTH}, {"case": MATERIALS, "shaft": MATERIALS},
    ),
    "fit": _Words(
        {"bore": str, "shaft": str, "limits": str}, ("bore", "shaft"), dict.fromkeys(("bore", "shaft"), _LENGTH), {},
    ),
    "torque": _Words(
        {"torque": str, "against": str, "slope": float, "steps": list}, ("torque", "against"),
        {"torque": _TORQUE, "against": _LENGTH}, {},
    ),
}  # fmt: skip


def read_sums(
    rows: list[object],
    characteristics: Mapping[str, Characteristic],
    variants: tuple[str, ...],
    keys: KeysOf,
    report: Report,
) -> tuple[AnySum, ...]:
    """The sums of the tables; everything wrong goes to `report` with its place."""
    found: list[AnySum] = []
    for i, row in enumerate(rows):
        path: Path = ("sum", i)
        kind = row.get("kind") if isinstance(row, Mapping) else None
        words = _OF_KIND.get(str(kind))
        if words is None:
            report((*path, "kind"), kind, f"must be one of {', '.join(KINDS)}")
            continue
        problems = list(_check(path, row, str(kind), words, characteristics, variants, keys))
        given = problems.pop()
        for where, what, reason in problems:
            report(where, what, reason)
        if not problems and _complete(given, words):
            one = KINDS[str(kind)](**_fields(str(kind), given))
            if any(one.code == other.code for other in found):
                report((*path, "code"), one.code, "is used twice")
            found.append(one)
    return tuple(found)


def _complete(given: Mapping[str, Any], words: _Words) -> bool:
    return {"code", "name", *words.required} <= given.keys()


def _check(
    path: Path,
    row: object,
    kind: str,
    words: _Words,
    characteristics: Mapping[str, Characteristic],
    variants: tuple[str, ...],
    keys: KeysOf,
) -> Iterator[Any]:
    """Problems as (place, found, reason), and last the well-typed entries."""
    given = keys(path, row, _COMMON | dict(words.types), ("code", "name", *words.required))
    for key, known in words.choices.items():
        if key in given and given[key] not in known:
            yield (*path, key), given[key], f"must be one of {', '.join(known)}"
    for key, dimension in words.named.items():
        if key in given:
            yield from _check_named((*path, key), given[key], dimension, characteristics)
    for variant in given.get("variants", ()):
        if variant not in variants:
            yield (
                (*path, "variants"),
                variant,
                f"must be one of {', '.join(variants) or 'the variants (there are none)'}",
            )
    for key in ("tolerance", "crush_u", "closure_limit", "factor", "span_mm", "slope", "gasket_nominal"):
        if given.get(key, 1.0) <= 0:
            yield (*path, key), given[key], "must be more than 0"
    yield from _CHECK_KIND.get(kind, _nothing)(path, given)
    if "leaves" in given:
        yield from _check_leaves((*path, "leaves"), given)
    yield given


def _check_named(path: Path, code: str, dimension: str, characteristics: Mapping[str, Characteristic]) -> Iterator[Any]:
    characteristic = characteristics.get(code)
    if characteristic is None:
        yield path, code, "is not a characteristic of this sheet"
    elif characteristic.in_words != (dimension == _WORDS):
        wanted = "words (shape category)" if dimension == _WORDS else "numbers"
        yield path, code, f"must be a characteristic in {wanted}"
    elif dimension != _WORDS and units.dimension(characteristic.unit) != dimension:
        yield (
            path,
            code,
            f"must be a {dimension}, and {characteristic.unit} is a {units.dimension(characteristic.unit)}",
        )


def _nothing(_path: Path, _given: Mapping[str, Any]) -> Iterator[Any]:
    return iter(())


def _check_pack(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    if ("pinch" in given) == ("float" in given):
        yield (*path, "pinch"), None, "say what is wanted: pinch or float, one of the two"
    for key in ("pinch", "float"):
        if given.get(key, 0.0) < 0:
            yield (*path, key), given[key], "can't be less than 0: a negative pinch is a float"
    if given.get("shim_location") == "under_bearing" and "trial_pack" not in given:
        yield (*path, "trial_pack"), None, "is needed: under a bearing, the gap is read over a trial pack"
    if not 0 <= given.get("crush", 0.0) < 1:
        yield (*path, "crush"), given["crush"], "is a fraction, 0 or more and below 1 (11 % is 0.11)"
    if given.get("sealant") and {"gasket", "gasket_nominal", "gasket_crushed"} & given.keys():
        yield (*path, "sealant"), None, "and a gasket can't both be there"
    yield from _check_limits(path, given)


def _check_limits(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    limits = given.get("limits", {})
    for key, value in limits.items():
        if key not in ("lower", "upper"):
            yield (*path, "limits"), key, "is not a word of these limits (there are: lower, upper)"
        elif number_of(value) is None:
            yield (*path, "limits"), value, NOT_PLAUSIBLE
    lower, upper = (number_of(limits.get(key)) for key in ("lower", "upper"))
    if lower is not None and upper is not None and lower > upper:
        yield (*path, "limits"), f"{lower:g} to {upper:g}", "must run from lower to upper"


def _check_side_shims(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    teeth = [key for key in ("gear_teeth", "pinion_teeth") if key in given]
    if "factor" not in given and len(teeth) < 2:
        yield (*path, "factor"), None, "is needed, or gear_teeth and pinion_teeth to work it out from"
    for key in teeth:
        if given[key] < 1:
            yield (*path, key), given[key], "must be 1 or more"
    if not 0 < given.get("pressure_angle", 20.0) < 45:
        yield (*path, "pressure_angle"), given["pressure_angle"], "lies between 0 and 45 degrees"
    if not 0 <= given.get("spiral_angle", 0.0) < 60:
        yield (*path, "spiral_angle"), given["spiral_angle"], "is 0 or more and below 60 degrees"
    if ("zero_play" in given) != ("each_side" in given):
        missing = "each_side" if "zero_play" in given else "zero_play"
        yield (*path, missing), None, "is needed: zero_play and each_side make the total together"


def _check_pinion(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    if given.get("sign", 1) not in (1, -1):
        yield (*path, "sign"), given["sign"], "must be 1 (a plus mark adds shim) or -1 (it takes shim away)"


def _check_torque(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    for step in given.get("steps", ()):
        if (number_of(step) or 0.0) <= 0:
            yield (*path, "steps"), step, "must hold numbers above 0"


def _check_fit(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    end = r"\d*\.?\d+\s*[LTlt]?"
    if "limits" in given and not re.fullmatch(rf"{end}(\s*(-|–|to)\s*{end})?", given["limits"].strip()):
        yield (*path, "limits"), given["limits"], "must be a fit as printed, such as 0.005T-0.050L"


_CHECK_KIND: dict[str, Callable[[Path, dict[str, Any]], Iterator[Any]]] = {
    "pack": _check_pack,
    "side_shims": _check_side_shims,
    "pinion_shim": _check_pinion,
    "growth": _check_limits,
    "fit": _check_fit,
    "torque": _check_torque,
}


def _check_leaves(path: Path, given: dict[str, Any]) -> Iterator[Any]:
    leaves = given["leaves"]
    whole = all(isinstance(n, int) and number_of(n) is not None and n >= 0 for n in leaves)
    if not whole or len(leaves) not in (1, 2) or (len(leaves) == 2 and leaves[0] > leaves[1]):
        yield path, leaves, "must be the least number of leaves and the most, as [1, 5]; or the least alone, as [3]"


def _fields(kind: str, given: dict[str, Any]) -> dict[str, Any]:
    """The entries as the fields of the kind's class."""
    fields = {key: value for key, value in given.items() if key not in ("kind", "limits", *_CHOOSING)}
    fields["variants"] = tuple(given.get("variants", ()))
    if kind == "fit":
        fields["limits"] = given.get("limits")
    elif "limits" in given:
        fields |= {key: float(value) for key, value in given["limits"].items()}
    if kind == "pack":
        fields["wanted"] = given["pinch"] if "pinch" in given else -given["float"]
        fields.pop("pinch", None)
        fields.pop("float", None)
    if kind in ("pack", "side_shims", "pinion_shim"):
        leaves = given.get("leaves", [0])
        least, most = leaves[0], (leaves[1] if len(leaves) == 2 else None)
        fields["choosing"] = Choosing(given.get("stock"), given.get("tolerance"), (least, most), given.get("safer"))
    if kind == "torque":
        fields["steps"] = tuple(float(s) for s in given.get("steps", ()))
    return fields
