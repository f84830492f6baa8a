"""Formulas of derived characteristics: read, checked for dimensions, worked out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qclog.domain.sheets import formula
from qclog.errors import FormulaError

UNITS = {"pack": "thou", "so": "thou", "bore": "mm", "torque": "lbf·in", "pull": "lbf"}
THOU = 25.4e-6


def work_out(text: str, **values: list[float]) -> float:
    return float(formula.work_out(formula.parse(text), lambda n: values[n.code], UNITS.__getitem__))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("pack - mean(so)", 25.0),
        ("pack - so", 25.0),
        ("-so + pack", 25.0),
        ("max(so) - min(so)", 4.0),
        ("spread(so)", 4.0),
        ("abs(so - pack)", 25.0),
        ("so - 0.5 * pack - 1 thou", -6.0),
        ("(pack - so) / 2", 12.5),
        ("2 * (pack - 0.4 mm)", 2 * (40 - 0.4 / 0.0254)),
        ("so - -pack", 55.0),
    ],
)
def test_arithmetic_in_thou(text: str, expected: float) -> None:
    """Trial shim 40 and stand-off 15 give a recess of 25: trade.md section 3.2, derived there."""
    found = work_out(text, pack=[40.0], so=[16.0, 13.0, 14.0, 17.0]) / THOU
    assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("readings", "mean", "tilt", "saddle"),
    [([21, 19, 17, 19], 19, 4, 0), ([20, 18, 20, 18], 19, 0, 1), ([19, 19, 23, 19], 20, 4, 1)],
)
def test_tilt_and_saddle_of_the_worked_examples(readings: list[float], mean: float, tilt: float, saddle: float) -> None:
    """Readings at 12, 3, 6, 9 o'clock and their mean, tilt and saddle as trade.md section 4.2 gives them (derived)."""
    for name, expected in (("mean", mean), ("tilt", tilt), ("saddle", saddle)):
        assert work_out(f"{name}(so)", so=readings) / THOU == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.floats(-100, 100), min_size=5, max_size=8))
def test_tilt_equals_a_least_squares_fit(readings: list[float]) -> None:
    """Second derivation: the first harmonic by least squares on cosine and sine."""
    n = len(readings)
    angle = 2 * np.pi * np.arange(n) / n
    design = np.column_stack([np.ones(n), np.cos(angle), np.sin(angle)])
    _, a, b = np.linalg.lstsq(design, np.array(readings), rcond=None)[0]
    assert work_out("tilt(so)", so=readings) / THOU == pytest.approx(2 * math.hypot(a, b), abs=1e-8)


def test_arrays_give_what_single_units_give() -> None:
    rng = np.random.default_rng(1)
    packs, readings = rng.normal(40, 5, 20), rng.normal(15, 2, (4, 20))
    readings[2, 7] = np.nan
    node = formula.parse("pack - mean(so) + spread(so) / max(so) * min(so)")
    together = formula.work_out(node, lambda n: [packs] if n.code == "pack" else list(readings), UNITS.__getitem__)
    alone = [
        work_out("pack - mean(so) + spread(so) / max(so) * min(so)", pack=[packs[i]], so=list(readings[:, i]))
        for i in range(20)
    ]
    np.testing.assert_allclose(together, alone, rtol=1e-12)


def test_a_missing_position_is_left_out_of_a_mean_but_not_of_a_tilt() -> None:
    nan = float("nan")
    assert work_out("mean(so)", so=[10, nan, 12, 14]) / THOU == pytest.approx(12)
    assert math.isnan(work_out("tilt(so)", so=[10, nan, 12, 14]))
    assert math.isnan(work_out("pack - so", pack=[40], so=[nan, nan]))
    assert math.isnan(work_out("pack / so", pack=[40], so=[0.0]))


@pytest.mark.parametrize(
    "text",
    ["", "pack -", "pack so", "(pack", "pack)", "pow(pack)", "mean(pack + so)", "pack ** 2", "__import__('os')",
     "pack; so", "1e400 +", "mean(so@12)", "pack.", "so@", "12 parsec_ish", "(" * 60 + "1" + ")" * 60,
     "1+" * 400 + "1"],
)  # fmt: skip
def test_what_is_no_formula_is_refused(text: str) -> None:
    with pytest.raises(FormulaError):
        formula.parse(text)


@given(st.text(max_size=60))
def test_no_text_crashes_the_reader(text: str) -> None:
    try:
        formula.parse(text)
    except FormulaError:
        return


@pytest.mark.parametrize("text", ["pack + torque", "pack - 12", "torque - pull", "pack + so * bore", "pack + bore/so"])
def test_mixed_dimensions_are_refused(text: str) -> None:
    with pytest.raises(FormulaError, match=r"adds|subtracts"):
        formula.dimensionality(formula.parse(text), UNITS.__getitem__)


def test_torque_is_pull_times_length() -> None:
    """Spring balance: torque is pull times radius (trade.md 3.7, from a manual named there)."""
    node = formula.parse("pull * 3 in")
    assert formula.dimensionality(node, UNITS.__getitem__) == formula.dimensionality(
        formula.parse("torque"), UNITS.__getitem__
    )
    value = formula.work_out(node, lambda _: [5.0], UNITS.__getitem__) / formula.to_base("lbf·in")
    assert value == pytest.approx(15.0)
