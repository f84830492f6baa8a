"""How thick a gasket is once the cover is down."""

from __future__ import annotations

from qclog.bench.answer import Answer, say
from qclog.bench.estimate import Estimate, combine
from qclog.bench.gate import checked
from qclog.errors import InputError

CRUSH_SPREAD = 0.02
"""Standard uncertainty of a crush fraction that is not measured on the lot; common practice, no source."""
SEALANT = Estimate(1.0, 0.6)
"""A sealant joint in thou: 0 to 2, uniform; common practice, no source."""

_FROM_LOT = "Measure a crushed sample of each gasket lot: a thick lot shows in no shim sum."


@checked
def compressed(free: Estimate, crush: Estimate, *, unit: str = "thou") -> Answer:
    """Compressed thickness from the free thickness and the fraction that crushes (0.11 for 11 %)."""
    _check_free(free)
    if not 0 <= crush.value < 1:
        raise InputError(
            "a crush is a fraction, 0 or more and below 1", field="crush", found=crush.value, hint="11 % is 0.11"
        )
    kept = 1 - crush.value
    result = combine((kept, free), (free.value, Estimate(0, crush.u)))
    text = f"{say(free.value, unit)} free x {say(kept)} left after {say(100 * crush.value)} % crush"
    text += f" = {say(result.value, unit)}"
    return Answer("compressed gasket", result.value, result.u, unit, text, cautions=(_FROM_LOT,))


@checked
def crush_of_sample(free: Estimate, crushed: Estimate) -> Estimate:
    """The fraction that crushed, from a sample of the lot measured before and after."""
    _check_free(free)
    if not 0 < crushed.value <= free.value:
        raise InputError(
            "a crushed gasket is thinner than a free one and not nothing",
            field="crushed",
            found=crushed.value,
            hint=f"the free one is {free.value:g}; measure both again",
        )
    part = crushed.value / free.value
    return combine(
        (1, Estimate(1 - part)), (1 / free.value, Estimate(0, crushed.u)), (part / free.value, Estimate(0, free.u))
    )


def _check_free(free: Estimate) -> None:
    if free.value <= 0:
        raise InputError(
            "a gasket has a thickness",
            field="gasket",
            found=free.value,
            hint="for a sealant joint use the sealant's own",
        )
