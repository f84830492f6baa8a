"""A reading against its limits: inside, low, high, or too close to call."""

from __future__ import annotations

from dataclasses import dataclass

from qclog.domain.casetypes import Characteristic, Limits

INSIDE, LOW, HIGH, CLOSE = "inside", "low", "high", "too close to call"
NOT_JUDGED = "not judged"
OUT = (LOW, HIGH, "fail")
ROUNDING = 1e-6  # of a step: far below what a gauge shows, far above what sums of doubles leave over


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a reading stands: `result`, and the limit set and limits it was judged by (None: not judged)."""

    result: str
    limit_set: str | None = None
    limits: Limits | None = None

    @property
    def out(self) -> bool:
        """Whether it is out of limits (or failed)."""
        return self.result in OUT


def slack_of(step: float | None) -> float:
    """By how much a value may pass a limit and still be on it, in the unit of `step`; None: as for 0.001 of the unit.

    It stands for the rounding of doubles only, so it never grows with the limit or with the value.
    """
    return ROUNDING * (1e-3 if step is None else step)


def judge_interval(low: float | None, high: float | None, limits: Limits, *, slack: float = 0.0) -> str:
    """Where the interval [low, high] stands to `limits`; None is open on that side.

    A value on a limit is inside. A feeler bracket that straddles a limit is too close to call, and so is one
    that only touches it from outside by its open end. `slack` allows for rounding of the numbers themselves.
    """
    lower = float("-inf") if limits.lower is None else limits.lower - slack
    upper = float("inf") if limits.upper is None else limits.upper + slack
    bottom = float("-inf") if low is None else low
    top = float("inf") if high is None else high
    if lower <= bottom and top <= upper:
        return INSIDE
    if bottom == top:
        return LOW if top < lower else HIGH
    if top <= lower + 2 * slack:
        return LOW
    if bottom >= upper - 2 * slack:
        return HIGH
    return CLOSE


def judge(
    characteristic: Characteristic,
    *,
    stage: str,
    condition: str | None,
    low: float | None,
    high: float | None,
    word: str | None = None,
) -> Verdict:
    """The verdict on one reading of `characteristic`, given in its unit, for parts that are `condition`."""
    if word is not None:
        return Verdict(word if word in ("pass", "fail") else NOT_JUDGED)
    chosen = characteristic.limit_set(stage, condition)
    if chosen is None or (low is None and high is None):
        return Verdict(NOT_JUDGED)
    name, limits = chosen
    if limits.lower is None and limits.upper is None:
        return Verdict(NOT_JUDGED, name, limits)
    return Verdict(judge_interval(low, high, limits, slack=slack_of(characteristic.step)), name, limits)
