"""Readings round a face or a turning part: mean, tilt and where it leans, saddle, spread, and what the gauge explains.

The harmonics themselves are `qclog.domain.sheets.positions`, which formulas use too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, ceil, degrees, erf, exp, hypot, pi, sqrt

from qclog.bench.answer import say_short
from qclog.bench.estimate import Estimate
from qclog.bench.gate import checked
from qclog.domain.sheets import positions as face
from qclog.errors import InputError

UNLIKELY = 0.05


@dataclass(frozen=True, slots=True)
class FaceReading:
    """Readings at n equally spaced positions, in `unit`.

    tilt : out of true across the face. leans_to : degrees from the first position toward the second, of the high side.
    high_at : the position nearest to it. saddle : amplitude of the second harmonic (signed for 4 positions; None
    below 4). spread_chance : the chance that gauge noise alone gives such a spread. shape : flat, tilt, saddle or
    one spot. sum : the same in words.
    """

    mean: Estimate
    tilt: float
    tilt_u: float
    leans_to: float
    high_at: str
    saddle: float | None
    spread: float
    spread_chance: float
    shape: str
    spot: str | None
    n: int
    sum: str

    @property
    def explained(self) -> bool:
        """Whether the gauge's own repeatability explains the spread (chance of 5 % or more)."""
        return self.spread_chance >= UNLIKELY


@checked
def read_face(
    values: Sequence[float],
    positions: Sequence[str],
    *,
    sigma: float,
    step: float = 0.0,
    unit: str = "thou",
    turning: bool = False,
) -> FaceReading:
    """What readings at equally spaced positions, in order round the face, say.

    Parameters
    ----------
    values, positions : 3 or more, one each. sigma : the gauge's repeatability, one standard deviation, same unit.
    step : what readings are rounded to. turning : the part turns past one gauge, so that a tilt is a run-out.

    Raises
    ------
    InputError : fewer than 3 positions, numbers that don't match, or no repeatability.
    """
    n = len(values)
    if n < 3 or n != len(positions):
        raise InputError("three positions or more are needed, each with a reading", field="positions", found=n)
    if sigma <= 0:
        raise InputError("a gauge's repeatability is above 0", field="sigma", found=sigma)
    cosine, sine = (float(x) for x in face.harmonic(values, 1))
    leans = degrees(atan2(sine, cosine)) % 360
    high = positions[round(leans / 360 * n) % n]
    saddle = float(face.saddle_of(values)) if n >= 4 else None
    spread = float(face.spread_of(values))
    noise = hypot(sigma, step / sqrt(12))
    chance = chance_of_spread(spread, n, sigma=sigma, step=step)
    shape, spot = _shape(values, positions) if chance < UNLIKELY else ("flat", None)
    tilt = 2 * hypot(cosine, sine)
    mean = Estimate(float(face.mean_of(values)), noise / sqrt(n))
    said = _words(shape, spot, high, tilt, saddle, spread, unit, turning=turning)
    return FaceReading(mean, tilt, 2 * noise * sqrt(2 / n), leans, high, saddle, spread, chance, shape, spot, n, said)


def _words(
    shape: str,
    spot: str | None,
    high: str,
    tilt: float,
    saddle: float | None,
    spread: float,
    unit: str,
    *,
    turning: bool,
) -> str:
    if shape == "flat":
        return f"spread {say_short(spread, unit)} {unit}: no more than the gauge explains"
    if shape == "tilt" and turning:
        return f"comes and goes by {say_short(tilt, unit)} {unit} once a turn, most at {high}: run-out"
    if shape == "saddle" and turning:
        return f"comes and goes by {say_short(2 * abs(saddle or 0.0), unit)} {unit} twice a turn: out of round"
    if shape == "tilt":
        return f"leans {say_short(tilt, unit)} {unit} across, high at {high}: face or seat not square"
    if shape == "saddle":
        return f"saddle of {say_short(abs(saddle or 0.0), unit)} {unit}: face warped or cover pulled down unevenly"
    return f"stands out at {spot} alone: burr, swarf or the gauge slipped; read it again"


def _shape(values: Sequence[float], positions: Sequence[str]) -> tuple[str, str | None]:
    """The simplest thing that explains the readings best: a tilt, one spot, or (from 4 positions) a saddle."""
    n = len(values)
    middle = sum(values) / n
    around = sum((v - middle) ** 2 for v in values)
    cosine, sine = (float(x) for x in face.harmonic(values, 1))
    left = {"tilt": around - n / 2 * (cosine**2 + sine**2)}
    if n >= 4:
        second = [float(x) for x in face.harmonic(values, 2)]
        left["saddle"] = around - (n * second[0] ** 2 if n == 4 else n / 2 * (second[0] ** 2 + second[1] ** 2))
        alone = [_around([v for j, v in enumerate(values) if j != i]) for i in range(n)]
        left["one spot"] = min(alone)
    best = min(left, key=lambda name: round(left[name], 9))
    return best, positions[alone.index(min(alone))] if best == "one spot" else None


def _around(values: Sequence[float]) -> float:
    middle = sum(values) / len(values)
    return sum((v - middle) ** 2 for v in values)


@dataclass(frozen=True, slots=True)
class Turning:
    """A turning part read at equally spaced angles: run-out (total, once a turn) and ovality (total, twice a turn)."""

    run_out: float
    ovality: float | None
    high_at: float


@checked
def read_turning(values: Sequence[float]) -> Turning:
    """Run-out and ovality, peak to valley, from readings at 3 or more equally spaced angles.

    Ovality needs 4. At 4 it is what lies along the four angles, so the part may be more oval than that.
    """
    if len(values) < 3:
        raise InputError("three angles or more are needed", field="positions", found=len(values))
    cosine, sine = (float(x) for x in face.harmonic(values, 1))
    ovality = 2 * abs(float(face.saddle_of(values))) if len(values) >= 4 else None
    return Turning(2 * hypot(cosine, sine), ovality, degrees(atan2(sine, cosine)) % 360)


@checked
def chance_of_tilt(tilt: float, n: int, noise: float) -> float:
    """The chance that noise alone (one standard deviation each) shows `tilt` or more: exp(-n tilt^2 / (16 noise^2)).

    Both amplitudes of the first harmonic have variance 2 noise^2/n, so half the tilt is a Rayleigh value.
    """
    if noise <= 0 or n < 3:
        raise InputError("noise is above 0, at 3 positions or more", field="noise", found=noise)
    return exp(-n * tilt**2 / (16 * noise**2))


@checked
def chance_of_spread(spread: float, n: int, *, sigma: float, step: float = 0.0) -> float:
    """The chance that n readings of one true value spread by `spread` or more, from gauge noise and rounding alone.

    Readings are rounded to `step` (0: not), with the true value anywhere within a step.
    """
    if n < 2 or sigma <= 0 or step < 0:
        raise InputError("needs 2 readings or more and a repeatability above 0", field="sigma", found=sigma)
    if spread <= 0:
        return 1.0
    if step == 0:
        return 1 - _range_below(spread / sigma, n)
    steps = ceil(spread / step - 1e-9)
    phases = [(i + 0.5) / 20 for i in range(20)]
    return max(0.0, 1 - sum(_rounded_below(steps, n, sigma / step, phase) for phase in phases) / len(phases))


def _rounded_below(steps: int, n: int, sigma: float, phase: float) -> float:
    """The chance that n readings, rounded down to whole steps, all lie in `steps` neighbouring steps."""
    reach = ceil(6 * sigma) + 1
    edges = [_phi((k - phase) / sigma) for k in range(-reach, reach + steps + 2)]
    wide = sum((edges[i + steps] - edges[i]) ** n for i in range(len(edges) - steps))
    return wide - sum((edges[i + steps] - edges[i + 1]) ** n for i in range(len(edges) - steps))


def _range_below(width: float, n: int, cells: int = 800) -> float:
    """The chance of a range under `width` of n standard normal values: n integral phi(x) (Phi(x+w) - Phi(x))^(n-1)."""
    ends = [-8 + 16 * i / cells for i in range(cells + 1)]
    heights = [exp(-(x**2) / 2) * (_phi(x + width) - _phi(x)) ** (n - 1) for x in ends]
    area = (sum(heights) - (heights[0] + heights[-1]) / 2) * 16 / cells
    return min(1.0, n * area / sqrt(2 * pi))


def _phi(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2
