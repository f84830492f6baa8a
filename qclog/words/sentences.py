"""Sentences a person would say about readings and jobs, the same at the terminal, on the page and on paper."""

from __future__ import annotations

from fractions import Fraction

from qclog.domain import stored
from qclog.domain.jobs import STAGE_WORDS
from qclog.domain.places import Place
from qclog.domain.quantities import units
from qclog.domain.sheets.casetypes import Characteristic
from qclog.measures.judging import CLOSE, HIGH, INSIDE, LOW, Verdict
from qclog.measures.results import Result
from qclog.words.numbers import limits_text


def verdict_text(verdict: Verdict, characteristic: Characteristic | None) -> str:
    """`inside limits`, `ABOVE 17.5 thou` ...; empty where nothing is judged."""
    unit = characteristic.unit if characteristic else ""
    limits = verdict.limits
    if verdict.result == INSIDE:
        return "inside limits"
    if verdict.result == HIGH and limits is not None:
        return f"ABOVE {limits.upper:g} {unit}".strip()
    if verdict.result == LOW and limits is not None:
        return f"BELOW {limits.lower:g} {unit}".strip()
    if verdict.result == CLOSE:
        return "too close to call"
    return {"pass": "pass", "fail": "FAIL"}.get(verdict.result, "")


def beyond_text(verdict: Verdict, low: float | None, high: float | None, characteristic: Characteristic) -> str:
    """How far past the limit it is at least: ` (by 5 thou)`; empty inside limits, or where that is not known."""
    limits = verdict.limits
    if limits is None:
        return ""
    over = low - limits.upper if verdict.result == HIGH and low is not None and limits.upper is not None else None
    under = limits.lower - high if verdict.result == LOW and high is not None and limits.lower is not None else None
    by = over if over is not None else under
    return "" if by is None or by <= 0 else f" (by {by:.4g} {characteristic.unit})"


def asked_text(characteristic: Characteristic, verdict: Verdict) -> str:
    """The limits a reading is judged by: `15 to 17.5, wanted 16 thou`; empty if there are none."""
    text = limits_text(verdict.limits)
    return f"{text} {characteristic.unit}" if text else ""


def place_text(place: Place, characteristic: Characteristic) -> str:
    """`Cover stand-off, final, at 12`."""
    stage = STAGE_WORDS[place.stage] if len(characteristic.stages) > 1 else ""
    at = f"at {place.position}" if place.position else ""
    return ", ".join(part for part in (characteristic.name, stage, at) if part)


def value_text(value: float | None, characteristic: Characteristic, *, finer: int = 1) -> str:
    """A worked-out value to one decimal more than its gauge's step, with the unit."""
    if value is None:
        return ""
    step = characteristic.step
    shown = Fraction(value).limit_denominator(10**9)
    if step is None:
        return f"{float(shown):.5g} {characteristic.unit}"
    return units.write(shown, characteristic.unit, step=Fraction(str(step)) / 10**finer)


def result_text(result: Result) -> str:
    """What was worked out, with its unit; `at least 36.0 thou` where a reading it rests on is open on a side."""
    if result.value is not None or not result.known:
        return value_text(result.value, result.characteristic)
    low, high = (value_text(end, result.characteristic) for end in (result.low, result.high))
    return f"at least {low}" if result.high is None else f"at most {high}" if result.low is None else f"{low} to {high}"


def uncertainty_text(u: float | None, characteristic: Characteristic) -> str:
    """A standard uncertainty to two figures; empty where it is not known."""
    return "" if u is None else f"{u:.2g} {characteristic.unit}"


def sureness_text(verdict: str, chance: float | None, *, too_close: bool) -> str:
    """A verdict with how sure it is: `inside limits (97 %)`, `inside limits (60 %: too close to call)`."""
    if not verdict or chance is None:
        return verdict
    shown = "over 99" if chance > 0.99 else "under 1" if chance < 0.01 else f"{100 * chance:.0f}"
    return f"{verdict} (chance inside {shown} %{': too close to call' if too_close else ''})"


def reading_text(row: stored.JobReading | stored.LastReading) -> str:
    """A row of the log as it was said, with its unit when the text has none."""
    said, unit = str(row.said), row.said_unit
    bare = unit is not None and not any(c.isalpha() or c in "\"'″" for c in said)
    return f"{said} {unit}" if bare else said


def fate_text(row: stored.JobReading) -> str:
    """Why a reading no longer counts, or what it replaced."""
    if row.struck_why:
        return f"struck out by {row.struck_by}: {row.struck_why}"
    if row.replaced:
        return "corrected since"
    if row.replaces is not None:
        again = f"; attempt {row.replaces} was corrected twice, and the later correction counts"
        later = again if row.corrected_again else "" if row.counts else "; read again since"
        return f"corrects attempt {row.replaces}: {row.reason}{later}"
    return "" if row.counts else "read again since"
