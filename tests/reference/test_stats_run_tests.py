"""Run tests against their written definitions, one point at a time, and their run lengths."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from qclog.errors import StatisticsError
from qclog.stats.charts import run_tests
from qclog.stats.charts.run_length import average_run_length
from qclog.stats.charts.run_tests import ALL, NELSON_1984, WESTERN_ELECTRIC_1956, find, mark
from tests.reference.conftest import Published


def by_definition(z: list[float], name: str) -> list[bool]:
    """Nelson 1984 and the 1956 handbook read out point by point."""

    def window(i: int, m: int) -> list[float]:
        return z[max(0, i - m + 1) : i + 1]

    def some(i: int, k: int, m: int, d: float) -> bool:
        w = window(i, m)
        high = z[i] > d and sum(v > d for v in w) >= k
        return high or (z[i] < -d and sum(v < -d for v in w) >= k)

    result = []
    for i in range(len(z)):
        w = {m: window(i, m) for m in (6, 8, 9, 14, 15)}
        steps = np.sign(np.diff(w[6])).tolist()
        turns = np.sign(np.diff(w[14])).tolist()
        holds: dict[str, Any] = {
            "beyond_limit": lambda i=i: abs(z[i]) > 3,
            "nine_one_side": lambda i=i: some(i, 9, 9, 0),
            "eight_one_side": lambda i=i: some(i, 8, 8, 0),
            "six_steady": lambda s=steps: s in ([1.0] * 5, [-1.0] * 5),
            "fourteen_zigzag": lambda t=turns: len(t) == 13 and all(t) and all(a == -b for a, b in pairwise(t)),
            "two_of_three_far": lambda i=i: some(i, 2, 3, 2),
            "four_of_five_out": lambda i=i: some(i, 4, 5, 1),
            "fifteen_close": lambda w=w[15]: len(w) == 15 and all(abs(v) < 1 for v in w),
            "eight_apart": lambda w=w[8]: len(w) == 8 and all(abs(v) > 1 for v in w),
        }
        result.append(holds[name]())
    return result


@pytest.mark.parametrize("name", sorted(ALL))
@pytest.mark.parametrize("kind", ["normal", "rounded", "narrow", "wide", "drift", "zigzag"])
def test_every_test_as_written(name: str, kind: str) -> None:
    rng = np.random.default_rng(sorted(ALL).index(name))
    z = rng.normal(size=600)
    if kind == "rounded":
        z = np.round(z)
    if kind == "narrow":
        z *= 0.4
    if kind == "wide":
        z = np.where(rng.random(600) < 0.9, np.sign(z) * (1.1 + np.abs(z)), z)
    if kind == "drift":
        z = z * 0.3 + np.repeat(rng.normal(0, 1.5, 60), 10) + np.tile(np.arange(10) * 0.2, 60)
    if kind == "zigzag":
        z = np.abs(z) * np.tile([1, -1], 300)
    assert mark(z, [name])[name].tolist() == by_definition(z.tolist(), name)


@pytest.mark.parametrize("name", sorted(ALL))
def test_many_series_end_to_end_are_judged_apart(name: str) -> None:
    rng = np.random.default_rng(8)
    sizes = [1, 2, 3, 4, 7, 15, 40, 100, 1, 5]
    pieces = [rng.normal(0.6, 1.4, n) for n in sizes]
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    together = mark(np.concatenate(pieces), [name], starts=starts)[name]
    apart = np.concatenate([mark(p, [name])[name] for p in pieces])
    assert together.tolist() == apart.tolist()


def test_signal_says_where_and_which_side() -> None:
    z = [0.1, -0.2, 2.5, 0.3, 2.2, 0, 0, -3.5]
    found = find(z, 0, 1, ["beyond_limit", "two_of_three_far"])
    assert [(s.test, s.first, s.at, s.last, s.side) for s in found] == [
        ("two_of_three_far", 2, 4, 4, "high"),
        ("beyond_limit", 7, 7, 7, "low"),
    ]
    long = find([1.5] * 20, 0, 1, ["nine_one_side"])
    assert [(s.first, s.at, s.last) for s in long] == [(0, 8, 19)]
    assert find([101, 109.5], 100, 3)[0].test == "beyond_limit"


def test_lines_and_ties() -> None:
    # A point on a line is not beyond it; one on the centre breaks a run; equal neighbours break 3 and 4.
    assert find([3.0, -3.0], 0, 1, ["beyond_limit"]) == ()
    assert find([1] * 4 + [0] + [1] * 8, 0, 1, ["nine_one_side"]) == ()
    assert find([1, 2, 3, 4, 4, 5], 0, 99, ["six_steady"]) == ()
    assert find([1, 2, 3, 4, 5, 6], 0, 99, ["six_steady"])[0].at == 5
    assert find([1.0, -1.0] * 7, 0, 99, ["fourteen_zigzag"])[0].at == 13
    assert find([1.0] * 15, 1, 1, ["fifteen_close"])[0].at == 14
    assert find([], 0, 1) == ()


def test_sets_hold_the_published_tests() -> None:
    assert len(NELSON_1984) == 8
    assert [t.count for t in NELSON_1984] == [1, 9, 6, 14, 2, 4, 15, 8]
    assert [(t.count, t.window) for t in WESTERN_ELECTRIC_1956] == [(1, 1), (2, 3), (4, 5), (8, 8)]
    usual: dict[str, Any] = {"sigma": 1, "tests": NELSON_1984}
    wrong: list[dict[str, Any]] = [{"tests": ["rule 1"]}, {"tests": []}, {"sigma": 0}]
    for bad in wrong:
        with pytest.raises(StatisticsError):
            find([1, 2], 0, **(usual | bad))


SETS = {
    "C1": ["beyond_limit"],
    "C12": ["beyond_limit", "two_of_three_far"],
    "C13": ["beyond_limit", "four_of_five_out"],
    "C14": ["beyond_limit", "eight_one_side"],
    "C124": ["beyond_limit", "two_of_three_far", "eight_one_side"],
    "C1234": ["beyond_limit", "two_of_three_far", "four_of_five_out", "eight_one_side"],
}


def test_run_lengths_of_champ_and_woodall(published: Published) -> None:
    # Champ & Woodall, Technometrics 29(4) 1987, table 1. Remembered printed values 5.41 (C1234 at 1.4; exact
    # 5.419) and 4.42 (at 1.6; exact 4.412) are probably slips of memory: the exact ones are asserted.
    table = published("arl_runs_rules")
    for i, shift in enumerate(table["shift_sigma"]):
        for column, tests in SETS.items():
            found = average_run_length(tests, shift=shift).mean
            assert found == pytest.approx(table[column][i], abs=1e-4), (column, shift)
    assert average_run_length(SETS["C1234"], shift=1.4).mean == pytest.approx(5.419, abs=5e-4)
    assert average_run_length(SETS["C1234"], shift=1.6).mean == pytest.approx(4.412, abs=5e-4)


@pytest.mark.parametrize(
    ("tests", "mean"),
    # Exact waiting times; 2^n - 1 for a run of n on either side.
    [
        (["eight_one_side"], 255),
        (["nine_one_side"], 511),
        ([run_tests.RunTest("seven", "", "beyond, one side", 7, 7)], 127),
        (["two_of_three_far"], 510.69),
        (["four_of_five_out"], 291.32),
        (["beyond_limit", "nine_one_side"], 216.70),
        (["beyond_limit", "nine_one_side", "two_of_three_far", "four_of_five_out"], 109.05),
        (["beyond_limit"], 370.398),
    ],
)
def test_run_lengths_of_single_tests(tests: Any, mean: float) -> None:
    assert average_run_length(tests).mean == pytest.approx(mean, abs=0.006)


def test_shewhart_run_lengths() -> None:
    for shift, mean in ((1, 43.895), (2, 6.303), (3, 1.9998)):
        assert average_run_length(["beyond_limit"], shift=shift).mean == pytest.approx(mean, abs=6e-4)
    wide = average_run_length(["beyond_limit"], spread=1.5)
    assert wide.mean == pytest.approx(1 / (2 * 0.0227501319), rel=1e-6)
    assert wide.text == "a signal every 22 units"
    assert average_run_length(["beyond_limit"]).text == "a false alarm every 370 units"


def first_signals(tests: Any, shift: float, series: int, length: int, seed: int) -> np.ndarray:
    z = np.random.default_rng(seed).normal(shift, 1, (series, length))
    marks = mark(z.ravel(), tests, starts=np.arange(0, z.size, length))
    hit = np.logical_or.reduce(list(marks.values())).reshape(z.shape)
    assert hit.any(axis=1).all()
    first: np.ndarray = hit.argmax(axis=1) + 1
    return first


@pytest.mark.parametrize(
    ("tests", "shift", "series", "length"),
    [
        (NELSON_1984, 0.0, 6000, 1100),
        (NELSON_1984, 1.0, 6000, 250),
        (["six_steady", "fourteen_zigzag"], 0.0, 1500, 3500),
        (["six_steady", "beyond_limit"], 1.5, 6000, 300),
        (["fifteen_close", "eight_apart", "fourteen_zigzag"], 0.7, 1500, 4500),
    ],
)
def test_run_lengths_by_simulation(tests: Any, shift: float, series: Any, length: int) -> None:
    lengths = first_signals(tests, shift, series, length, 17)
    exact = average_run_length(tests, shift=shift).mean
    assert exact == pytest.approx(lengths.mean(), abs=4 * lengths.std() / np.sqrt(series))


def test_steady_runs_do_not_depend_on_where_the_process_is() -> None:
    # Order only: the waiting time for six rising or falling is the same whatever the mean and spread.
    at_rest = average_run_length(["six_steady"]).mean
    assert average_run_length(["six_steady"], shift=2.5, spread=0.3).mean == pytest.approx(at_rest, rel=1e-9)
