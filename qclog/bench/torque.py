"""Turning torque: from a pull, against its window, and how fine a shim step the window needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt
from statistics import fmean
from typing import Literal

from qclog.bench.answer import HIGH, LOW, Answer, say, stand
from qclog.bench.estimate import Estimate
from qclog.bench.gate import checked
from qclog.bench.student import t_quantile
from qclog.errors import InputError

RUNNING = "Read while it turns, over a whole turn or more, not the pull that starts it."
PULL_SPREAD = 0.05
"""Relative standard uncertainty of a spring balance with its radius; common practice, no source."""


@checked
def torque_of_pull(pull: float, diameter: float, *, relative_u: float = PULL_SPREAD, unit: str = "lbf·in") -> Answer:
    """Torque of a pull on a string round `diameter`: pull x diameter / 2, in the product of their units."""
    if pull < 0 or diameter <= 0:
        raise InputError("a pull is 0 or more, on a diameter above 0", field="pull", found=f"{pull:g} on {diameter:g}")
    value = pull * diameter / 2
    text = f"{say(pull)} x {say(diameter)} / 2 = {say(value, unit)}"
    return Answer("turning torque", value, value * relative_u, unit, text, cautions=(RUNNING,))


@checked
def pull_for_torque(torque: float, diameter: float) -> float:
    """The pull on a string round `diameter` that shows `torque`."""
    if diameter <= 0:
        raise InputError("a diameter is above 0", field="diameter", found=diameter)
    return 2 * torque / diameter


@checked
def judge_torque(
    read: Estimate, lower: float, upper: float, *, conditions: Sequence[str] = (), unit: str = "lbf·in"
) -> Answer:
    """A turning torque against its window (new or re-used bearings have their own).

    InputError when the conditions say break-away: the pull that starts it is no turning torque.
    """
    if "break_away" in conditions:
        raise InputError(
            "a break-away pull can't be judged by a turning torque's window",
            field="conditions",
            found="break_away",
            hint="turn it and read again",
        )
    said = f"{say(read.value, unit)} in {say(lower, unit)} to {say(upper, unit)}"
    missing = () if "rotating" in conditions else (RUNNING,)
    return Answer("turning torque", read.value, read.u, unit, said, lower, upper, missing)


@dataclass(frozen=True, slots=True)
class StepNeeded:
    """How much shim a torque window is worth, and the coarsest stock step that is sure to find it."""

    window_in_shim: float
    step: float | None
    sum: str

    @property
    def found(self) -> bool:
        """Whether some step of the stock is fine enough."""
        return self.step is not None


@checked
def step_needed(
    lower: float, upper: float, slope: float, steps: Sequence[float], *, shim_unit: str = "thou", unit: str = "lbf·in"
) -> StepNeeded:
    """The coarsest of `steps` that can't step over the window, at `slope` torque for each unit of shim."""
    if slope <= 0:
        raise InputError("a slope is above 0", field="slope", found=slope, hint="give torque for one unit of shim")
    if not lower < upper:
        raise InputError(
            "a window runs from the smaller to the larger", field="window", found=f"{lower:g} to {upper:g}"
        )
    worth = (upper - lower) / slope
    fine = [s for s in steps if s <= worth + 1e-9]
    step = max(fine) if fine else None
    text = f"({say(upper, unit)} - {say(lower, unit)}) / {say(slope)} = {say(worth, shim_unit)} {shim_unit}"
    text += (
        f": a {say(step, shim_unit)} {shim_unit} step is fine enough" if step else ": no step in stock is fine enough"
    )
    return StepNeeded(worth, step, text)


@checked
def sizes_to_change(torque: Estimate, lower: float, upper: float, *, more_shim: Literal["raises", "lowers"]) -> int:
    """Shim sizes to go up (1), down (-1) or none (0); which way follows from where the shim is."""
    if more_shim not in ("raises", "lowers"):
        raise InputError("more shim raises the torque or lowers it", field="more_shim", found=more_shim)
    standing = stand(torque, lower, upper)
    if standing not in (LOW, HIGH):
        return 0
    return 1 if (standing == LOW) == (more_shim == "raises") else -1


@dataclass(frozen=True, slots=True)
class Slope:
    """Torque for each unit of pinch or shim, with its 95 % interval, from n units."""

    value: float
    low: float
    high: float
    n: int


@checked
def learn_slope(shim: Sequence[float], torque: Sequence[float], *, fewest: int = 5) -> Slope:
    """Slope of torque against pinch or shim by least squares over units of one case type and one condition.

    InputError for fewer than `fewest` pairs or no spread of shim.
    """
    if len(shim) != len(torque) or len(shim) < fewest:
        raise InputError(f"a slope is learned from {fewest} units or more", field="pairs", found=len(shim))
    if max(shim) == min(shim):
        raise InputError("every unit has the same shim, so a slope can't be learned", field="shim", found=shim[0])
    freedom = len(shim) - 2
    middle, level = fmean(shim), fmean(torque)
    squares = fsum((x - middle) ** 2 for x in shim)
    slope = fsum((x - middle) * (y - level) for x, y in zip(shim, torque, strict=True)) / squares
    left = fsum((y - level - slope * (x - middle)) ** 2 for x, y in zip(shim, torque, strict=True)) / freedom
    reach = t_quantile(0.975, freedom) * sqrt(left / squares)
    return Slope(slope, slope - reach, slope + reach, len(shim))
