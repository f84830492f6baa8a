"""Verdicts on points and feeler brackets."""

from __future__ import annotations

import pytest

from qclog.domain.casetypes import Limits
from qclog.domain.judging import judge_interval


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
