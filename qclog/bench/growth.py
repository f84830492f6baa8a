"""What warmth does to a preload: case and shaft of different metals grow apart."""

from __future__ import annotations

from dataclasses import dataclass

from qclog.bench.answer import Answer, say, say_join
from qclog.bench.estimate import Estimate
from qclog.bench.gate import checked
from qclog.errors import InputError


@dataclass(frozen=True, slots=True)
class Material:
    """A metal's linear expansion per °C and its standard uncertainty."""

    name: str
    expansion: float
    u: float
    source: str


_CALLISTER = "Callister, Fundamentals of Materials Science and Engineering, 3rd ed., Appendix B Table B.6"
MATERIALS = {
    "aluminium": Material("cast aluminium 356", 21.5e-6, 0.5e-6, _CALLISTER),
    "magnesium": Material("magnesium AZ91", 26.0e-6, 0.5e-6, _CALLISTER),
    "ductile_iron": Material("ductile iron", 10.9e-6, 0.3e-6, _CALLISTER),
    "bronze": Material("bronze C932", 18.0e-6, 0.5e-6, _CALLISTER),
    "cast_iron": Material("grey cast iron", 11.0e-6, 0.5e-6, "public material-property pages, single figure"),
    "steel": Material("steel", 11.7e-6, 0.5e-6, "from memory, textbook figure"),
}
SAME_HEAT = "Case and shaft are taken as equally hot; in service the shaft is usually hotter at first."


@checked
def material(name: str) -> Material:
    """The material called `name`; InputError with what there is."""
    found = MATERIALS.get(name)
    if found is None:
        raise InputError("no such material", field="material", found=name, hint="there are " + ", ".join(MATERIALS))
    return found


@checked
def setting_change(span: float, case: str, shaft: str, rise: float, *, unit: str = "mm") -> Answer:
    """How much more the case grows than the shaft over `span` (one `unit`) in `rise` °C.

    Positive: preload is lost (or float gained) when warm. L x (case - shaft) x dT.
    """
    if span <= 0:
        raise InputError("a span is above 0", field="span", found=span)
    one, two = material(case), material(shaft)
    difference = one.expansion - two.expansion
    spread = (one.u**2 + two.u**2) ** 0.5
    value = span * difference * rise
    text = (
        f"{say(span, unit)} x ({one.expansion * 1e6:.1f} - {two.expansion * 1e6:.1f}) / million x {rise:g} °C"
        f" = {say(value, unit)} {unit}"
    )
    return Answer("preload lost to warmth", value, span * spread * abs(rise), unit, text, cautions=(SAME_HEAT,))


@checked
def rise_that_takes(pinch: float, span: float, case: str, shaft: str) -> float | None:
    """The rise in °C at which a `pinch` (same unit as `span`) is gone; None when the case never outgrows the shaft."""
    if span <= 0 or pinch < 0:
        raise InputError("a span is above 0 and a pinch 0 or more", field="span", found=f"{span:g}, {pinch:g}")
    difference = material(case).expansion - material(shaft).expansion
    return pinch / (span * difference) if difference > 0 else None


@checked
def warm_setting(cold: Estimate, change: Answer, *, lower: float | None = None, upper: float | None = None) -> Answer:
    """The preload at running temperature: what it is on the bench less what warmth takes."""
    value = cold.value - change.value
    u = (cold.u**2 + change.u**2) ** 0.5
    unit = change.unit
    text = f"{say(cold.value, unit)} cold {say_join(-change.value, unit)} by warmth = {say(value, unit)} running"
    return Answer("preload when running", value, u, unit, text, lower, upper, change.cautions)


@checked
def mixed_targets(target_at: str, read_at: str) -> str:
    """A warning when a cold target is held against a warm reading or the other way; empty when they match."""
    words = ("cold", "warm")
    for name, value in (("target", target_at), ("reading", read_at)):
        if value not in words:
            raise InputError("a setting is for a cold or a warm unit", field=name, found=value)
    if target_at == read_at:
        return ""
    return f"The target is for a {target_at} unit and the reading was taken {read_at}: let it come to one temperature."
