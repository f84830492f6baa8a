"""The standard uncertainty of one reading, from how it was taken.

The interval itself is known (a bracket's width, a step). What hand and gauge add is judged, common practice with no
published source, after trade experience: a feeler to about 0.45 thou, a dial 0.3, a depth micrometer 0.4, a
micrometer on shim 0.25, a bore gauge 0.2 (all one standard deviation); a repeatability study in the shop replaces
these figures.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt

from qclog.bench.estimate import Estimate, Source, combine
from qclog.bench.gate import checked
from qclog.domain.quantities import units
from qclog.errors import InputError

UNIFORM = 1 / sqrt(12)


@dataclass(frozen=True, slots=True)
class GaugeTerms:
    """What a kind of gauge adds to its step, in thou, or as a part of the reading (`relative`).

    own : feel, seating, hysteresis: anew each time. shared : zero, blade, transfer: the same each time.
    """

    own: float = 0.0
    shared: float = 0.0
    relative: float = 0.0


GAUGE_TERMS = {
    "feeler": GaugeTerms(own=0.25, shared=0.2),
    "dial": GaugeTerms(own=0.2, shared=0.2),
    "depth_mic": GaugeTerms(own=0.3, shared=0.2),
    "micrometer": GaugeTerms(own=0.2, shared=0.15),
    "bore": GaugeTerms(own=0.1, shared=0.15),
    "fine": GaugeTerms(own=0.06, shared=0.08),
    "torque": GaugeTerms(relative=0.04),
    "balance": GaugeTerms(relative=0.05),
    "other": GaugeTerms(),
}
FINE_STEP = 0.08
"""A micrometer or bore gauge that shows less than this, in thou, is one for ground diameters: 0.1 thou in all."""
LEAF_TOLERANCE = 0.35  # thou on a feeler leaf of about 10, a feeler maker's own note (read as a web page)
OIL_FILM = 0.2  # thou, standard deviation for each face between leaves; common practice, no source


@checked
def source_of(
    low: float | None, high: float | None, *, kind: str | None, step: float | None, unit: str, group: Hashable = None
) -> Source:
    """A reading as a source of uncertainty.

    Parameters
    ----------
    low, high : what was read, in `unit`: equal for a point, apart for a bracket.
    kind, step : the gauge's kind and the finest difference it shows, in `unit`; None where not known.
    group : what shares the gauge's fixed error, such as the gauge's name.

    Raises
    ------
    InputError : the reading is open on a side, so that it has no middle.
    """
    if low is None or high is None:
        raise InputError(
            "an open reading has no value to work with",
            field="reading",
            found="no leaf enters" if low is None else f"more than {low:g} {unit}",
            hint="read it again with a gauge that reaches",
        )
    if high < low:
        raise InputError("a bracket runs from the smaller to the larger", field="reading", found=f"{low:g}/{high:g}")
    width = high - low if high > low else step or 0.0
    thou = _thou_in(unit)
    fine = kind in ("micrometer", "bore") and step is not None and 0 < step < FINE_STEP * thou
    terms = GAUGE_TERMS["fine" if fine else kind or "other"] if kind in (None, *GAUGE_TERMS) else GaugeTerms()
    middle = (low + high) / 2
    own = sqrt((width * UNIFORM) ** 2 + (terms.own * thou) ** 2)
    return Source(middle, own, terms.shared * thou + terms.relative * abs(middle), group)


def _thou_in(unit: str) -> float:
    """What a thou is in `unit`; 0 where that is no length."""
    if units.dimensionality(unit) != units.dimensionality("thou"):
        return 0.0
    return float(units.factor("thou", unit))


@checked
def feeler_stack(
    leaves: Sequence[float],
    *,
    step: float,
    blade: float = LEAF_TOLERANCE,
    film: float = OIL_FILM,
    one_lot: bool = False,
) -> Estimate:
    """The gap that a stack of feeler leaves just fills, in thou: leaves that go, the next `step` up does not.

    Blade errors are uniform within ± `blade`, taken in proportion to a 10-thou leaf; leaves of one lot err together.
    InputError for no leaves or sizes that are not above 0.
    """
    if not leaves or min(leaves) <= 0:
        raise InputError("a stack has leaves of sizes above 0", field="leaves", found=list(leaves))
    parts = [blade * leaf / 10 / sqrt(3) for leaf in leaves]
    blades = sum(parts) if one_lot else sqrt(sum(part**2 for part in parts))
    films = film * sqrt(len(leaves) - 1)
    return combine(
        (1, Estimate(sum(leaves) + step / 2, step * UNIFORM)), (1, Estimate(0, blades)), (1, Estimate(0, films))
    )
