"""An answer of the bench: a value, how sure it is, and the sum behind it in one line."""

from __future__ import annotations

from dataclasses import dataclass

from qclog.bench.estimate import Estimate, chance_between
from qclog.bench.gate import checked

TRIAL = "A trial fit decides; the maker's manual decides."
INSIDE, LOW, HIGH, CLOSE, NOT_JUDGED = "inside", "low", "high", "too close to call", "not judged"
SURE = 0.8413
"""The chance of a normal value more than one standard uncertainty inside a limit."""

_DECIMALS = {"thou": 3, "mm": 3, "in": 4, "µm": 1, "lbf·in": 1, "lbf·ft": 1, "N·m": 2, "lbf": 1, "N": 1, "°": 1}


def decimals_of(unit: str) -> int:
    """How many decimals a number in `unit` is said with."""
    return _DECIMALS.get(unit, 2)


def say(value: float, unit: str = "", *, finer: int = 0) -> str:
    """A number in `unit`, fine enough that a sum of such numbers checks: thousandths of a thou, microns."""
    decimals = decimals_of(unit) + finer
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def say_short(value: float, unit: str = "") -> str:
    """A number for a headline: tenths of a thou, microns."""
    return say(value, unit, finer=-2 if unit == "thou" else 0)


def say_join(value: float, unit: str = "") -> str:
    """A number with the sign that joins it to what stands before: `+ 4`, `- 2`."""
    return f"{'-' if value < 0 else '+'} {say(abs(value), unit)}"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a bench sum gives.

    name : what it is, in words. value, u : in `unit`; u is the standard uncertainty.
    sum : one line to check by hand. lower, upper : the limits it is wanted inside, None where there is none.
    cautions : sentences to show with it.
    """

    name: str
    value: float
    u: float
    unit: str
    sum: str
    lower: float | None = None
    upper: float | None = None
    cautions: tuple[str, ...] = (TRIAL,)

    @property
    def estimate(self) -> Estimate:
        """Value and uncertainty, to go on with."""
        return Estimate(self.value, self.u)

    @property
    def judged(self) -> bool:
        """Whether there are limits."""
        return self.lower is not None or self.upper is not None

    @property
    def chance_inside(self) -> float | None:
        """The chance that the true value is inside the limits; None without limits."""
        return chance_between(self.estimate, self.lower, self.upper) if self.judged else None

    @property
    def standing(self) -> str:
        """inside, low or high where that is surer than one standard uncertainty makes it; else too close to call."""
        return stand(self.estimate, self.lower, self.upper)


@checked
def stand(estimate: Estimate, lower: float | None, upper: float | None) -> str:
    """How an estimate stands to limits; `too close to call` where the chance inside is between 16 and 84 %.

    The idea of ISO 14253-1 (from memory): a value within its uncertainty of a limit proves nothing either way.
    """
    if lower is None and upper is None:
        return NOT_JUDGED
    chance = chance_between(estimate, lower, upper)
    if chance >= SURE:
        return INSIDE
    if chance > 1 - SURE:
        return CLOSE
    middle = [x for x in (lower, upper) if x is not None]
    return LOW if estimate.value < sum(middle) / len(middle) else HIGH
