"""Verdicts on points and feeler brackets."""

from __future__ import annotations

import pytest

from qclog.domain.sheets.casetypes import Characteristic, Limits
from qclog.measures.judging import judge, judge_interval, slack_of


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (
            19,
            20,
            "inside",
        ),  # 16 thou gasket and 3 thou pinch want 19; 19/20 in a 19 to 20 band: common practice, no source
        (19, 19, "inside"),
        (20, 20, "inside"),
        (18, 19, "low"),
        (20, 21, "high"),
        (18, 20, "too close to call"),
        (19.5, 20.5, "too close to call"),
        (18.9, 18.9, "low"),
        (20.1, 20.1, "high"),
        (None, 18, "low"),
        (None, 19.5, "too close to call"),
        (25, None, "high"),
        (19.5, None, "too close to call"),
    ],
)
def test_a_band(low: float | None, high: float | None, expected: str) -> None:
    assert judge_interval(low, high, Limits(None, 19, 20)) == expected


def test_one_sided_limits() -> None:
    assert judge_interval(3, 4, Limits(upper=4)) == "inside"
    assert judge_interval(4, 5, Limits(upper=4)) == "high"
    assert judge_interval(None, 2, Limits(upper=4)) == "inside"
    assert judge_interval(0.5, 0.5, Limits(lower=0.6)) == "low"


def test_rounding_of_the_numbers_themselves_does_not_fail_a_reading() -> None:
    assert judge_interval(0.1 + 0.2, 0.1 + 0.2, Limits(upper=0.3), slack=1e-12) == "inside"


@pytest.mark.parametrize("upper", [1e6, 1e9, 1e12])
def test_the_slack_comes_from_the_step_and_not_from_the_limit(upper: float) -> None:
    shim = Characteristic("c", "c", "thou", step=1.0, limits=(("any", Limits(lower=4.0, upper=upper)),))
    assert judge(shim, stage="final", condition=None, low=3.0, high=3.0).result == "low"
    assert judge(shim, stage="final", condition=None, low=3.99, high=3.99).result == "low"
    assert judge(shim, stage="final", condition=None, low=4.0 - 1e-9, high=4.0 - 1e-9).result == "inside"
    assert slack_of(0.001) < slack_of(1.0) < 0.001


def test_a_reading_far_away_is_judged_as_finely() -> None:
    torque = Characteristic("c", "c", "thou", step=1.0, limits=(("any", Limits(upper=10.0)),))
    bracket = judge(torque, stage="final", condition=None, low=9.999, high=1e9)
    assert bracket.result == "too close to call"
