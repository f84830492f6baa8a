"""Springs: a load at a length against its window, and the rate behind it."""

from __future__ import annotations

from qclog.bench.answer import Answer, say
from qclog.bench.estimate import Estimate
from qclog.bench.gate import checked
from qclog.errors import InputError

EYES = "Springs leave fast: cover them and the eyes."


@checked
def rate(free: float, length: float, load: float) -> float:
    """Load for each unit a spring is pressed: load / (free length - length)."""
    if not 0 < length < free:
        raise InputError("a loaded spring is shorter than a free one", field="length", found=f"{length:g} of {free:g}")
    if load < 0:
        raise InputError("a load can't be less than nothing", field="load", found=load)
    return load / (free - length)


@checked
def judge_spring(
    load: Estimate, at: float, *, free: float, length: float, lower: float, upper: float, unit: str = "lbf"
) -> Answer:
    """A load read at length `at`, brought to the table's `length` along a straight rate, against its window."""
    k = rate(free, at, load.value)
    value = k * (free - length)
    scale = (free - length) / (free - at)
    if not 0 < length < free:
        raise InputError("a loaded spring is shorter than a free one", field="length", found=f"{length:g} of {free:g}")
    text = f"{say(load.value, unit)} x ({say(free)} - {say(length)}) / ({say(free)} - {say(at)}) = {say(value, unit)}"
    return Answer("spring load", value, load.u * scale, unit, text, lower, upper, (EYES,))
