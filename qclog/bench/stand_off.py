"""Stand-off, pinch and float: from what a trial shows to the pack that is wanted.

The place of the shim decides every sign. Under the bearing, a thicker pack lifts the cover: the gap is pack less
recess, and pack wanted is recess + gasket + pinch. In the joint, between cover and case, a thicker pack takes pinch
away: pack wanted is gap less pinch, or gap plus float.
"""

from __future__ import annotations

from typing import Literal

from qclog.bench.answer import TRIAL, Answer, say, say_join
from qclog.bench.estimate import Estimate, combine
from qclog.bench.gate import checked
from qclog.errors import InputError

Place = Literal["under_bearing", "in_joint"]
NO_GASKET = Estimate(0.0)
RECHECK = "Mic the pack again leaf by leaf, turn the shaft to seat the rollers, wipe both faces, read with one gauge."


def flush(pack: float, unit: str) -> InputError:
    """What to say when nothing shows under the cover: it may rest on the case, so the recess stays unknown."""
    return InputError(
        "the cover is flush with the case, so the stand-off says nothing",
        field="stand-off",
        found="no gap",
        hint=f"the recess is {say(pack, unit)} {unit} or more: fit a thicker trial pack and read again",
    )


@checked
def recess(pack: Estimate, stand_off: Estimate, *, unit: str = "thou") -> Answer:
    """Implied recess: the shim at which the cover would just touch. Pack less stand-off.

    InputError for a negative pack, or when the cover is already flush.
    """
    _check_pack(pack)
    if stand_off.value <= 0:
        raise flush(pack.value, unit)
    result = combine((1, pack), (-1, stand_off))
    text = f"{say(pack.value, unit)} pack - {say(stand_off.value, unit)} stand-off = {say(result.value, unit)} recess"
    return Answer("implied recess", result.value, result.u, unit, text, cautions=())


@checked
def stand_off_wanted(gasket: Estimate, pinch: Estimate, *, unit: str = "thou") -> Answer:
    """Wanted stand-off with the shim under the bearing: compressed gasket plus pinch."""
    result = combine((1, gasket), (1, pinch))
    text = f"{say(gasket.value, unit)} gasket {say_join(pinch.value, unit)} pinch = {say(result.value, unit)}"
    return Answer("stand-off wanted", result.value, result.u, unit, text)


@checked
def pack_under_bearing(
    trial_pack: Estimate, stand_off: Estimate, *, pinch: float, gasket: Estimate = NO_GASKET, unit: str = "thou"
) -> Answer:
    """Pack wanted under the bearing, from a trial: recess + compressed gasket + pinch (negative pinch: float)."""
    found = recess(trial_pack, stand_off, unit=unit)
    result = combine((1, found.estimate), (1, gasket), (1, Estimate(pinch)))
    text = (
        f"{say(trial_pack.value, unit)} - {say(stand_off.value, unit)} = {say(found.value, unit)} recess; "
        f"{say(found.value, unit)}{_gasket(gasket, '+', unit)} {_wish(pinch, 1, unit)} = {say(result.value, unit)}"
    )
    return _pack(result, unit, text)


@checked
def pack_in_joint(
    gap: Estimate,
    *,
    pinch: float,
    gasket: Estimate = NO_GASKET,
    trial_pack: Estimate = NO_GASKET,
    unit: str = "thou",
) -> Answer:
    """Pack wanted in the joint: gap (plus any trial pack it was read over), less gasket, less pinch.

    A negative pinch is a float: the pack is then gap plus float.
    """
    _check_pack(trial_pack)
    if gap.value < 0:
        raise InputError("a gap can't be less than nothing", field="gap", found=gap.value)
    result = combine((1, gap), (1, trial_pack), (-1, gasket), (-1, Estimate(pinch)))
    over = f" + {say(trial_pack.value, unit)} pack" if trial_pack.value else ""
    text = f"{say(gap.value, unit)} gap{over}{_gasket(gasket, '-', unit)} {_wish(pinch, -1, unit)}"
    text += f" = {say(result.value, unit)}"
    return _pack(result, unit, text)


@checked
def pinch_of(
    pack: Estimate,
    base: Estimate,
    *,
    place: Place,
    gasket: Estimate = NO_GASKET,
    lower: float | None = None,
    upper: float | None = None,
    unit: str = "thou",
) -> Answer:
    """The pinch that a pack gives, over the recess (`under_bearing`) or the gap without shim (`in_joint`)."""
    _check_pack(pack)
    sign = 1 if place == "under_bearing" else -1
    result = combine((sign, pack), (-sign, base), (-1, gasket))
    what = "recess" if sign > 0 else "gap"
    first, second = (pack.value, base.value) if sign > 0 else (base.value, pack.value)
    names = ("pack", what) if sign > 0 else (what, "pack")
    text = (
        f"{say(first, unit)} {names[0]} - {say(second, unit)} {names[1]}{_gasket(gasket, '-', unit)}"
        f" = {say(result.value, unit)}"
    )
    return Answer("pinch", result.value, result.u, unit, text, lower, upper)


@checked
def closure(trial: Estimate, final: Estimate, *, limit: float | None = None, unit: str = "thou") -> Answer:
    """Final recess less trial recess, inside three of its standard uncertainties, or inside ± `limit`.

    Two readings of the same case: a difference says that a pack, a seat, a gauge or a number is wrong. The cautions
    say what to check again. Without `limit`, InputError when the estimates carry no uncertainty.
    """
    result = combine((1, final), (-1, trial))
    allowed = 3 * result.u if limit is None else limit
    if allowed <= 0:
        raise InputError("a closure needs an uncertainty or a limit", field="limit", found=allowed)
    text = f"{say(final.value, unit)} final recess - {say(trial.value, unit)} trial recess = {say(result.value, unit)}"
    good = abs(result.value) <= allowed
    said = () if good else (f"Closure {say(result.value, unit)} is more than {say(allowed, unit)} {unit}. {RECHECK}",)
    return Answer("closure", result.value, result.u, unit, text, -allowed, allowed, said)


def closes(answer: Answer) -> bool:
    """Whether a closure is inside what it is allowed (a plain comparison: the allowance holds the uncertainty)."""
    return answer.lower is not None and answer.upper is not None and answer.lower <= answer.value <= answer.upper


@checked
def pack_for_float(
    trial_pack: Estimate, read: Estimate, *, wanted: float, takes_up: bool, unit: str = "thou"
) -> Answer:
    """Pack that brings an end float from what was read to what is wanted.

    takes_up : True when a thicker pack leaves less float (under a bearing or washer), False when it leaves more
    (in the joint).
    """
    _check_pack(trial_pack)
    _check_float(read)
    sign = 1 if takes_up else -1
    result = combine((1, trial_pack), (sign, read), (-sign, Estimate(wanted)))
    text = (
        f"{say(trial_pack.value, unit)} {'+' if takes_up else '-'} ({say(read.value, unit)} read - "
        f"{say(wanted, unit)} wanted) = {say(result.value, unit)}"
    )
    return _pack(result, unit, text)


@checked
def pack_window(read: Estimate, least: float, most: float, *, unit: str = "thou") -> Answer:
    """Shim to add where it takes up float: between read less `most` and read less `least`; the middle is the value.

    InputError when the float is below `least` already: no shim is less than nothing, so the reading is looked at again.
    """
    _check_float(read)
    if least > most:
        raise InputError("the least float is more than the most", field="float", found=f"{least:g} to {most:g}")
    if read.value < least:
        raise InputError(
            "the float is below the least already, and no shim is thinner than nothing",
            field="float",
            found=f"{read.value:g} {unit}",
            hint="measure it again; if it stands, a thinner pack must come out",
        )
    low, high = max(0.0, read.value - most), read.value - least
    r, first, second = (say(x, unit) for x in (read.value, most, least))
    text = f"{r} - {first} to {r} - {second}: {say(low, unit)} to {say(high, unit)}"
    return Answer("shim to add", (low + high) / 2, read.u, unit, text, low, high)


@checked
def pack_by_depths(housing: Estimate, spigot: Estimate, *, pinch: float, bar: float = 0.0, unit: str = "in") -> Answer:
    """Pack from the depth to the bearing, less the spigot's height, plus the pinch; `bar` is a parallel's thickness
    that the depth was read over, and comes off."""
    if min(housing.value, spigot.value, bar) < 0:
        raise InputError(
            "a depth can't be less than nothing", field="depth", found=min(housing.value, spigot.value, bar)
        )
    result = combine((1, housing), (-1, Estimate(bar)), (-1, spigot), (1, Estimate(pinch)))
    over = f" - {say(bar, unit)} bar" if bar else ""
    text = f"{say(housing.value, unit)}{over} - {say(spigot.value, unit)} {_wish(pinch, 1, unit)}"
    text += f" = {say(result.value, unit)}"
    return _pack(result, unit, text)


@checked
def may_stay(fitted: float, wanted: Answer, within: float) -> bool:
    """Whether the pack that is in may stay: it is within `within` of the one wanted."""
    return abs(fitted - wanted.value) <= within + 1e-9


def _gasket(gasket: Estimate, sign: str, unit: str) -> str:
    return f" {sign} {say(gasket.value, unit)} gasket" if gasket.value else ""


def _wish(pinch: float, sign: int, unit: str) -> str:
    joined = "+" if pinch * sign >= 0 else "-"
    return f"{joined} {say(abs(pinch), unit)} {'pinch' if pinch >= 0 else 'float'}"


def _pack(result: Estimate, unit: str, text: str) -> Answer:
    if result.value < 0:
        raise InputError(
            "the sum asks for a pack thinner than nothing",
            field="pack",
            found=f"{text} {unit}",
            hint="check the readings, the place of the shim and the parts; a face may need to come off",
        )
    return Answer("pack wanted", result.value, result.u, unit, text, cautions=(TRIAL,))


def _check_pack(pack: Estimate) -> None:
    if pack.value < 0:
        raise InputError("a pack can't be less than nothing", field="pack", found=pack.value, hint="0 is no shim")


def _check_float(read: Estimate) -> None:
    if read.value < 0:
        raise InputError("an end float can't be less than nothing", field="float", found=read.value)
