"""What a case type's own log teaches the sums of the bench: backlash for a wheel move, torque for a pinch."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from qclog.bench import mesh, torque
from qclog.domain import stored
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Sheet
from qclog.domain.sheets.sums import AnySum, SideShimSum, TorqueSum
from qclog.errors import InputError
from qclog.measures.intervals import as_number
from qclog.store.log import Log

Learned = dict[str, mesh.Factor | torque.Slope]
FEWEST_UNITS = 5


def learn(log: Log, sheet: Sheet) -> Learned:
    """What the log can say for each sum of a sheet, by the sum's code; nothing where there is too little."""
    learned: Learned = {}
    for one in sheet.sums:
        try:
            found = _learn_one(log, sheet, one)
        except InputError:
            continue  # too few pairs, or none that differ: the sheet's own figure stands
        if found is not None:
            learned[one.code] = found
    return learned


def _learn_one(log: Log, sheet: Sheet, one: AnySum) -> mesh.Factor | torque.Slope | None:
    if isinstance(one, SideShimSum):
        pairs = wheel_moves(log, sheet, one)
        return mesh.learn_factor([move for move, _ in pairs], [change for _, change in pairs])
    if isinstance(one, TorqueSum):
        return torque.learn_slope(*_torque_pairs(log, sheet, one), fewest=FEWEST_UNITS)
    return None


def wheel_moves(log: Log, sheet: Sheet, one: SideShimSum) -> list[tuple[float, float]]:
    """Before-and-after pairs of a case type: wheel move out of mesh and backlash gained, in the shims' unit.

    A pair is two following attempts at one stage of one job, where side shims and backlash were all read both times.
    """
    codes = [one.wheel_side, one.far_side, one.backlash]
    with log.reading() as use:
        rows = use.rows("attempts_of_type", stored.AttemptOfType, case_type=sheet.code, codes=codes)
    by_code = {c.code: c for c in sheet.characteristics}
    factors = {c: float(units.factor(by_code[c].unit, by_code[one.wheel_side].unit)) for c in codes}
    fits: dict[tuple[str, str], dict[int, dict[str, list[float]]]] = {}
    for row in rows:
        number = as_number(row.low, row.high)
        if number is not None:
            fit = fits.setdefault((row.job, row.stage), {}).setdefault(row.attempt, {})
            fit.setdefault(row.characteristic, []).append(number * factors[row.characteristic])
    pairs = []
    for attempts in fits.values():
        for before, after in pairwise(_states(attempts, codes)):
            wheel, far = after[0] - before[0], after[1] - before[1]
            plus, minus = (wheel, far) if one.plus_side == "wheel" else (far, wheel)
            pairs.append((-(plus - minus) / 2, after[2] - before[2]))
    return pairs


def _states(attempts: dict[int, dict[str, list[float]]], codes: list[str]) -> list[tuple[float, float, float]]:
    """Wheel side, far side and backlash at each attempt that read backlash; a shim not read again is as it was."""
    states, known = [], dict[str, float]()
    for _, fit in sorted(attempts.items()):
        known |= {code: sum(values) / len(values) for code, values in fit.items()}
        if codes[2] in fit and known.keys() >= set(codes):
            states.append((known[codes[0]], known[codes[1]], known[codes[2]]))
    return states


def _torque_pairs(log: Log, sheet: Sheet, one: TorqueSum) -> tuple[list[float], list[float]]:
    """Pinch (or shim) and torque of final jobs with new parts."""
    against, read = (_finals(log, sheet.code, code) for code in (one.against, one.torque))
    jobs = [job for job in read if job in against]
    return [against[job] for job in jobs], [read[job] for job in jobs]


def _finals(log: Log, case_type: str, code: str) -> dict[str, float]:
    from qclog.services.series.series import read_series  # which loads polars and numpy

    rows: list[dict[str, Any]] = read_series(log, case_type, code).rows.to_dicts()
    return {
        r["job"]: r["value"]
        for r in rows
        if r["stage"] == "final" and r["condition"] != "reused" and not math.isnan(r["value"])
    }
