"""The sums a sheet asks for: which readings go into them, where the shim is, and what every sign is.

The arithmetic is `qclog.bench`; a sheet only says what is what, so that manuals with opposite signs both fit.
"""

from __future__ import annotations

from dataclasses import dataclass

SHIM_LOCATIONS = ("under_bearing", "in_joint")
SAFER = ("thicker", "thinner")
PLUS_SIDES = ("wheel", "far")
WAYS = ("toward", "away")
TEMPERATURES = ("cold", "warm")
MATERIALS = ("aluminium", "magnesium", "ductile_iron", "bronze", "cast_iron", "steel")


@dataclass(frozen=True, slots=True)
class Choosing:
    """How a pack is chosen from stock. `tolerance` is in the pack's unit; `leaves` the least and most of them."""

    stock: str | None = None
    tolerance: float | None = None
    leaves: tuple[int, int | None] = (0, None)
    safer: str | None = None


@dataclass(frozen=True, slots=True)
class Sum:
    """What every kind of sum has."""

    code: str
    name: str
    variants: tuple[str, ...] = ()
    source: str | None = None
    caution: str | None = None

    def applies_to(self, variant: str | None) -> bool:
        """Whether a case of `variant` has this sum."""
        return not self.variants or variant in self.variants


@dataclass(frozen=True, slots=True)
class PackSum(Sum):
    """Stand-off to pack. Lengths are in the unit of `gap`; the names are characteristics.

    wanted : pinch; below 0 it is a float. crush : fraction of the free gasket.
    """

    shim_location: str = "under_bearing"
    gap: str = ""
    trial_pack: str | None = None
    final_pack: str | None = None
    gasket: str | None = None
    gasket_nominal: float | None = None
    gasket_crushed: str | None = None
    crush: float = 0.0
    crush_u: float = 0.02
    sealant: bool = False
    wanted: float = 0.0
    lower: float | None = None
    upper: float | None = None
    closure_limit: float | None = None
    target_at: str | None = None
    choosing: Choosing = Choosing()

    @property
    def packs(self) -> tuple[str, ...]:
        """The characteristics that are packs."""
        return tuple(dict.fromkeys(c for c in (self.trial_pack, self.final_pack) if c))


@dataclass(frozen=True, slots=True)
class SideShimSum(Sum):
    """Crown wheel side shims against backlash, and the carrier's preload.

    plus_side : where a thicker pack moves the wheel toward the pinion. factor : backlash for each unit of move.
    each_side : preload on each side over the total that just leaves no play, in the shims' unit.
    """

    wheel_side: str = ""
    far_side: str = ""
    backlash: str = ""
    plus_side: str = "wheel"
    factor: float | None = None
    gear_teeth: int | None = None
    pinion_teeth: int | None = None
    pressure_angle: float = 20.0
    spiral_angle: float = 0.0
    zero_play: str | None = None
    each_side: float | None = None
    good_variation: float = 1.0
    most_variation: float = 2.0
    choosing: Choosing = Choosing()


@dataclass(frozen=True, slots=True)
class PinionSum(Sum):
    """Pinion pack from marks. sign 1: a plus mark adds shim; -1: it takes shim away."""

    old_shim: str = ""
    old_mark: str = ""
    new_mark: str = ""
    sign: int = 1
    final_pack: str | None = None
    choosing: Choosing = Choosing()


@dataclass(frozen=True, slots=True)
class PatternSum(Sum):
    """Contact pattern. more_shim : the way more shim moves the pinion: toward the wheel, or away."""

    drive: str = ""
    coast: str | None = None
    more_shim: str = "toward"


@dataclass(frozen=True, slots=True)
class GrowthSum(Sum):
    """A preload when warm. Temperatures in °C; lower and upper: what it is wanted inside when running."""

    of: str = ""
    span_mm: float = 0.0
    case: str = "aluminium"
    shaft: str = "steel"
    bench_at: float = 20.0
    running_at: float = 60.0
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True, slots=True)
class FitSum(Sum):
    """A bore on a shaft or ring. limits : as printed, `0.005T-0.050L`."""

    bore: str = ""
    shaft: str = ""
    limits: str | None = None


@dataclass(frozen=True, slots=True)
class TorqueSum(Sum):
    """How steep torque is against pinch or shim. slope : torque for each unit of `against`; steps : of the stock."""

    torque: str = ""
    against: str = ""
    slope: float | None = None
    steps: tuple[float, ...] = ()


AnySum = PackSum | SideShimSum | PinionSum | PatternSum | GrowthSum | FitSum | TorqueSum
KINDS: dict[str, type[AnySum]] = {
    "pack": PackSum,
    "side_shims": SideShimSum,
    "pinion_shim": PinionSum,
    "pattern": PatternSum,
    "growth": GrowthSum,
    "fit": FitSum,
    "torque": TorqueSum,
}


def stock_of(one: AnySum) -> str | None:
    """The stock set a sum's packs are chosen from."""
    return one.choosing.stock if isinstance(one, PackSum | SideShimSum | PinionSum) else None
