"""How long units last when many still run: the share surviving, step by step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Bools, Floats, read_probability, read_values


@dataclass(frozen=True, slots=True)
class Survival:
    """Share surviving after each time at which something failed, in the unit of the times.

    `median` is None while more than half survive.
    """

    n: int
    failures: int
    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    failed: tuple[int, ...]
    surviving: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    median: float | None
    confidence: float
    warnings: tuple[str, ...] = ()


@checked
def estimate_survival(times: npt.ArrayLike, failed: npt.ArrayLike, *, confidence: float = 0.95) -> Survival:
    """Kaplan-Meier estimate with log-log intervals.

    Parameters
    ----------
    times : one-dimensional, 0 or more, any unit: to failure, or to the last time seen running.
    failed : for each, whether it failed; a unit that left as another failed counts as at risk then.
    confidence : of the interval at each time.

    Raises
    ------
    TooFewError : none. StatisticsError : see `series.read_values`; negative times; unequal lengths.

    Source: Kaplan & Meier, JASA 53 (1958); Greenwood's variance on the log-log scale.
    """
    t, event = read_life(times, failed)
    level = read_probability(confidence)
    when, dead = np.unique(t[event], return_counts=True)
    n = int(t.size)
    ordered = np.sort(t)
    risk = n - np.searchsorted(ordered, when, side="left")
    surviving = np.cumprod(1 - dead / risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        wobble = np.sqrt(np.cumsum(dead / (risk * (risk - dead)))) / np.abs(np.log(surviving))
        z = float(special.ndtri((1 + level) / 2))
        lower, upper = surviving ** np.exp(z * wobble), surviving ** np.exp(-z * wobble)
    gone = surviving <= 0
    lower, upper = np.where(gone, 0.0, lower), np.where(gone, np.nan, upper)
    # After the last unit has failed the formula says nothing; the interval before it still holds above.
    for i in np.flatnonzero(gone):
        upper[i] = upper[i - 1] if i else 1.0
    half = np.flatnonzero(surviving <= 0.5)
    notes = []
    if not event.any():
        notes.append("nothing has failed yet")
    elif int(event.sum()) < 5:
        notes.append(f"too few to say much: {int(event.sum())} failures")
    return Survival(
        n,
        int(event.sum()),
        tuple(when.tolist()),
        tuple(risk.tolist()),
        tuple(dead.tolist()),
        tuple(surviving.tolist()),
        tuple(lower.tolist()),
        tuple(upper.tolist()),
        float(when[half[0]]) if half.size else None,
        level,
        tuple(notes),
    )


@checked
def read_life(times: npt.ArrayLike, failed: npt.ArrayLike, *, minimum: int = 1) -> tuple[Floats, Bools]:
    """Check times and failure marks.

    Raises
    ------
    TooFewError : fewer than `minimum`. StatisticsError : negative times; unequal lengths; marks not yes or no.
    """
    t = read_values(times, "times", minimum=minimum)
    marks = np.asarray(failed)
    if marks.ndim != 1 or marks.size != t.size:
        raise StatisticsError("one mark for each time", field="failed", found=marks.size, hint=f"give {t.size}")
    if marks.dtype != np.bool_ and not bool(np.isin(marks, (0, 1)).all()):
        raise StatisticsError("failed is yes or no", field="failed", found=marks[0], hint="give True or False")
    if bool((t < 0).any()):
        raise StatisticsError("a time is below 0", field="times", found=float(t.min()))
    if t.size == 0:
        raise TooFewError("no times", field="times", found=0)
    return t, marks.astype(np.bool_)
