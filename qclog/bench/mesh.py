"""Crown wheel and pinion: backlash against side shims, and the preload of the carrier.

Side shims move from side to side: the wheel shifts and the total, which is the preload, stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, radians, sin, sqrt, tan
from typing import Literal

from qclog.bench.answer import TRIAL, Answer, say, say_join
from qclog.bench.estimate import Estimate, combine
from qclog.bench.gate import checked
from qclog.bench.student import t_quantile
from qclog.errors import InputError

CHECK_PATTERN = "Read the backlash all round again and look at the contact pattern after the move."


@checked
def pitch_angle(gear_teeth: int, pinion_teeth: int, shaft_angle: float = 90.0) -> float:
    """Pitch cone angle of the gear in degrees: atan(sin S / (z_pinion/z_gear + cos S)); atan of the ratio at 90."""
    if gear_teeth < 1 or pinion_teeth < 1:
        raise InputError("a gear has at least one tooth", field="teeth", found=f"{gear_teeth}:{pinion_teeth}")
    if not 0 < shaft_angle < 180:
        raise InputError("shafts cross between 0 and 180 degrees", field="shaft_angle", found=shaft_angle)
    angle = radians(shaft_angle)
    return degrees(atan2(sin(angle), pinion_teeth / gear_teeth + cos(angle)))


@checked
def backlash_factor(
    gear_teeth: int,
    pinion_teeth: int,
    *,
    pressure_angle: float = 20.0,
    spiral_angle: float = 0.0,
    shaft_angle: float = 90.0,
    moved: Literal["wheel", "pinion"] = "wheel",
    measured: Literal["transverse", "normal"] = "transverse",
) -> float:
    """Backlash gained for each unit the wheel (or pinion) moves out along its own axis.

    The move leaves the pitch plane by the sine of the moved gear's own pitch angle G; what it does along the plane one
    flank gains and the other loses. Both flank normals, at the pressure angle a to that plane, give 2 sin(a) sin(G)
    normal to the tooth, and at the pitch circle 2 tan(a) sin(G) / cos(b) with the spiral angle b.

    Raises
    ------
    InputError : impossible geometry: a pressure angle outside 0 to 45, a spiral angle of 60 or more (degrees).
    """
    if not 0 < pressure_angle < 45:
        raise InputError("a pressure angle lies between 0 and 45 degrees", field="pressure_angle", found=pressure_angle)
    if not 0 <= spiral_angle < 60:
        raise InputError("a spiral angle is 0 or more and below 60 degrees", field="spiral_angle", found=spiral_angle)
    wheel = pitch_angle(gear_teeth, pinion_teeth, shaft_angle)
    out_of_plane = sin(radians(wheel if moved == "wheel" else shaft_angle - wheel))
    normal = radians(pressure_angle)
    if measured == "normal":
        return 2 * sin(normal) * out_of_plane
    return 2 * tan(normal) / cos(radians(spiral_angle)) * out_of_plane


@dataclass(frozen=True, slots=True)
class Factor:
    """Backlash for each unit of wheel move: value, standard uncertainty, 95 % interval, and the pairs behind it."""

    value: float
    u: float
    low: float
    high: float
    n: int
    source: str

    @property
    def estimate(self) -> Estimate:
        """Value and uncertainty, to go on with."""
        return Estimate(self.value, self.u)


@checked
def given_factor(value: float, source: str = "the sheet's own") -> Factor:
    """A factor that the sheet gives; how far real ones lie from it is not known, so 20 % is allowed (no source)."""
    if not 0 < value < 3:
        raise InputError("a backlash factor lies between 0 and 3", field="factor", found=value)
    u = 0.2 * value
    return Factor(value, u, value - 2 * u, value + 2 * u, 0, source)


@checked
def learn_factor(moves: Sequence[float], changes: Sequence[float], *, fewest: int = 3) -> Factor:
    """The factor of a case type from its own pairs: wheel move out of mesh, and backlash gained by it, one unit.

    Least squares through the origin, k = sum(xy)/sum(x^2), with the t interval on n - 1 degrees of freedom.
    InputError for fewer than `fewest` pairs with a move, or pairs of different number.
    """
    if len(moves) != len(changes):
        raise InputError(
            "each move needs its change of backlash", field="pairs", found=f"{len(moves)} and {len(changes)}"
        )
    pairs = [(x, y) for x, y in zip(moves, changes, strict=True) if x != 0]
    if len(pairs) < fewest:
        raise InputError(f"a factor is learned from {fewest} moves or more", field="pairs", found=len(pairs))
    squares = sum(x * x for x, _ in pairs)
    k = sum(x * y for x, y in pairs) / squares
    left = sum((y - k * x) ** 2 for x, y in pairs) / (len(pairs) - 1)
    u = sqrt(left / squares)
    reach = t_quantile(0.975, len(pairs) - 1) * u
    return Factor(k, u, k - reach, k + reach, len(pairs), f"learned from {len(pairs)} pairs of this case type")


@checked
def wheel_move(read: Estimate, wanted: float, factor: Factor, *, unit: str = "thou") -> Answer:
    """How far the wheel must move out of mesh (negative: toward the pinion): (wanted - read) / factor."""
    if read.value < 0 or wanted < 0:
        raise InputError("a backlash can't be less than nothing", field="backlash", found=min(read.value, wanted))
    if factor.value <= 0:
        raise InputError("a backlash factor is above 0", field="factor", found=factor.value)
    x = (wanted - read.value) / factor.value
    u = sqrt((read.u / factor.value) ** 2 + (x * factor.u / factor.value) ** 2)
    side = "away from the pinion" if x > 0 else "toward the pinion"
    text = f"({say(wanted, unit)} - {say(read.value, unit)}) / {factor.value:.2f} = {say(x, unit)}"
    text += f": wheel {say(abs(x), unit)} {side}" if round(x, 3) else ": no move"
    return Answer("crown wheel move", x, u, unit, text, cautions=(TRIAL, CHECK_PATTERN))


@dataclass(frozen=True, slots=True)
class SideShims:
    """Both side packs, one unit: on the crown wheel's side and on the far side."""

    wheel_side: float
    far_side: float
    sum: str

    @property
    def total(self) -> float:
        """Both together: the carrier's preload."""
        return self.wheel_side + self.far_side


@checked
def move_side_shims(
    wheel_side: float, far_side: float, move_out: float, *, plus_side: Literal["wheel", "far"], unit: str = "thou"
) -> SideShims:
    """The side packs after the wheel moved `move_out` out of mesh; the total stays.

    plus_side : the side on which a thicker pack moves the wheel toward the pinion, so that backlash falls (manuals
        name sides differently). InputError when a pack would be thinner than nothing.
    """
    if min(wheel_side, far_side) < 0:
        raise InputError("a pack can't be less than nothing", field="side shims", found=min(wheel_side, far_side))
    change = -move_out if plus_side == "wheel" else move_out
    new = (wheel_side + change, far_side - change)
    if min(new) < 0:
        raise InputError(
            "there is not that much shim to move across",
            field="side shims",
            found=f"{say(wheel_side, unit)} and {say(far_side, unit)} {unit}, to move {say(abs(change), unit)}",
            hint="check the readings and which side is plus",
        )
    text = (
        f"wheel side {say(wheel_side, unit)} {say_join(change, unit)} = {say(new[0], unit)}; far side "
        f"{say(far_side, unit)} {say_join(-change, unit)} = {say(new[1], unit)}; total stays {say(sum(new), unit)}"
    )
    return SideShims(new[0], new[1], text)


@checked
def carrier_total(zero_play: Estimate, each_side: float, *, sides: int = 2, unit: str = "thou") -> Answer:
    """Side shims in total for a preload of `each_side` on each side over the total that just leaves no play."""
    if zero_play.value < 0:
        raise InputError("a pack can't be less than nothing", field="zero play", found=zero_play.value)
    result = combine((1, zero_play), (1, Estimate(each_side * sides)))
    text = f"{say(zero_play.value, unit)} at no play + {sides} x {say(each_side, unit)} = {say(result.value, unit)}"
    return Answer("side shims in total", result.value, result.u, unit, text)


@checked
def zero_play_total(starters: Estimate, end_play: Estimate, *, unit: str = "thou") -> Answer:
    """The total that just leaves no play: starter shims plus the end play read over them."""
    if min(starters.value, end_play.value) < 0:
        raise InputError("shims and play can't be less than nothing", field="end play", found=end_play.value)
    result = combine((1, starters), (1, end_play))
    text = f"{say(starters.value, unit)} starters + {say(end_play.value, unit)} end play = {say(result.value, unit)}"
    return Answer("side shims at no play", result.value, result.u, unit, text)


@checked
def backlash_target(nominal: float, *, reused: bool, as_found: float | None) -> tuple[float, str]:
    """The backlash to set, and why: a re-used gear set is put back to what it had, a new one to the sheet's figure."""
    if not reused:
        return nominal, "the sheet's figure"
    if as_found is None:
        raise InputError(
            "a re-used gear set is reset to its as-found backlash, and none was read",
            field="backlash",
            found="nothing as found",
            hint="look for the figure etched on the set or in the maker's manual",
        )
    return as_found, "as found, since the gears run on"


@checked
def judge_variation(values: Sequence[float], *, good: float, act: float) -> tuple[str, str]:
    """Backlash round the wheel: (`good`, `watch` or `act`, what to do): run-out is measured above `act`."""
    if len(values) < 2:
        raise InputError("a variation needs two places or more", field="backlash", found=len(values))
    spread = max(values) - min(values)
    if spread <= good + 1e-9:
        return "good", f"varies by {spread:g}, at most {good:g} is good"
    if spread <= act + 1e-9:
        return "watch", f"varies by {spread:g}: more than {good:g}; read it again"
    return (
        "act",
        f"varies by {spread:g}, more than {act:g}: measure the back face run-out, look for dirt under the wheel",
    )
