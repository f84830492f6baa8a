"""Gauge studies: how much of what is read is the gauge, the person, and the parts."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.base.gate import checked
from qclog.stats.base.intervals import Estimate
from qclog.stats.base.series import Floats, centre_and_deviations, read_probability, read_values
from qclog.stats.gauges.components import split_variance
from qclog.stats.gauges.mean_squares import as_spread, combine_mean_squares

Interaction = Literal["decide", "keep", "pool"]


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the analysis of variance; `statistic` and `p_value` are None for the repeats."""

    name: str
    freedom: int
    squares: float
    mean_square: float
    statistic: float | None
    p_value: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Spreads (standard deviations) of a gauge study, in the unit of the readings, with intervals.

    `repeatability` is one person repeating; `reproducibility` is persons against each other, with their
    interaction with parts; `gauge` both together; `parts` the parts; `gauge_share` the gauge's part of the
    total variance. `variances` holds each component (unit squared) before negative ones are set to 0.
    """

    n: int
    design: str
    interaction_kept: bool
    sources: tuple[Source, ...]
    variances: dict[str, float]
    repeatability: Estimate
    reproducibility: Estimate
    gauge: Estimate
    parts: Estimate
    gauge_share: float
    confidence: float
    warnings: tuple[str, ...] = ()


@checked
def study_crossed(
    values: npt.ArrayLike,
    parts: Sequence[Hashable],
    persons: Sequence[Hashable],
    *,
    interaction: Interaction = "decide",
    pool_above: float = 0.25,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Every person reads every part equally often.

    Parameters
    ----------
    values : one-dimensional, any unit. parts, persons : one label for each.
    interaction : "keep", "pool" with the repeats, or "decide": pooled when its p-value is above `pool_above`.
    confidence : of the intervals.

    Raises
    ------
    TooFewError : fewer than 2 parts, persons or repeats. StatisticsError : see `series.read_values`; a layout
        with holes or unequal repeats.

    Source: random two-way layout (Montgomery, Design and Analysis of Experiments); ISO 22514-7. Negative
    components are set to 0 and said. Intervals: modified large sample (Burdick, Borror & Montgomery 2003).
    """
    y, shape = _arrange(values, parts, persons)
    level = read_probability(confidence)
    p, o, r = shape
    part, person, cell = y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=2)
    squares = {
        "parts": o * r * float(part @ part),
        "persons": p * r * float(person @ person),
        "interaction": r * float(((cell - part[:, None] - person[None, :]) ** 2).sum()),
        "repeats": float(((y - cell[:, :, None]) ** 2).sum()),
    }
    freedom = {
        "parts": p - 1,
        "persons": o - 1,
        "interaction": (p - 1) * (o - 1),
        "repeats": p * o * (r - 1),
    }
    mean = {k: squares[k] / freedom[k] for k in squares}
    p_interaction = _tail(mean["interaction"], mean["repeats"], freedom["interaction"], freedom["repeats"])
    keep = interaction == "keep" or (interaction == "decide" and p_interaction <= pool_above)
    sources = _sources(squares, freedom, mean)
    notes = []
    if interaction == "decide":
        verdict = "kept" if keep else "pooled with the repeats"
        notes.append(f"interaction {verdict}: p = {p_interaction:.3g} against {pool_above:g}")
    if keep:
        ms, df = [mean[k] for k in squares], [float(freedom[k]) for k in squares]
        lines = {
            "parts": [1 / (o * r), 0, -1 / (o * r), 0],
            "persons": [0, 1 / (p * r), -1 / (p * r), 0],
            "interaction": [0, 0, 1 / r, -1 / r],
            "repeats": [0, 0, 0, 1.0],
        }
        reproducibility = [0, 1 / (p * r), (p - 1) / (p * r), -1 / r]
    else:
        pooled = freedom["interaction"] + freedom["repeats"]
        error = (squares["interaction"] + squares["repeats"]) / pooled
        ms, df = [mean["parts"], mean["persons"], error], [float(p - 1), float(o - 1), float(pooled)]
        lines = {
            "parts": [1 / (o * r), 0, -1 / (o * r)],
            "persons": [0, 1 / (p * r), -1 / (p * r)],
            "repeats": [0, 0, 1.0],
        }
        reproducibility = lines["persons"]
    variances = {k: float(np.dot(c, ms)) for k, c in lines.items()}
    notes += [f"{k}: negative variance set to 0" for k, v in variances.items() if v < 0]
    persons_part = max(0.0, variances["persons"]) + max(0.0, variances.get("interaction", 0.0))
    gauge = [a + b for a, b in zip(reproducibility, lines["repeats"], strict=True)]
    whole = {**lines, "reproducibility": reproducibility, "gauge": gauge}
    bounds = {k: combine_mean_squares(c, ms, df, level) for k, c in whole.items()}
    repeat, part = max(0.0, variances["repeats"]), max(0.0, variances["parts"])
    total = persons_part + repeat + part
    return GaugeStudy(
        n=int(y.size),
        design="crossed",
        interaction_kept=keep,
        sources=sources,
        variances=variances,
        repeatability=_spread(repeat, bounds["repeats"]),
        reproducibility=_spread(persons_part, bounds["reproducibility"]),
        gauge=_spread(persons_part + repeat, bounds["gauge"]),
        parts=_spread(part, bounds["parts"]),
        gauge_share=(persons_part + repeat) / total if total > 0 else float("nan"),
        confidence=level,
        warnings=tuple(notes),
    )


@checked
def study_nested(
    values: npt.ArrayLike,
    persons: Sequence[Hashable],
    parts: Sequence[Hashable],
    *,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Each person has parts of his own (parts that can't be handed on), reading each more than once.

    Parameters
    ----------
    values : one-dimensional, any unit. persons, parts : one label for each; equal layouts or not.
    confidence : of the intervals.

    Raises
    ------
    TooFewError : nothing to compare at a level. StatisticsError : see `series.read_values`.

    Source: nested random layout; see `components.split_variance`.
    """
    found = split_variance(values, [persons, parts], ["persons", "parts"], confidence=confidence)
    ms = [lv.mean_square for lv in found.levels]
    tests = [(ms[0], ms[1], 0, 1), (ms[1], ms[2], 1, 2)]
    sources = [
        Source(
            found.levels[i].name,
            found.levels[i].freedom,
            found.levels[i].squares,
            ms[i],
            a / b if b > 0 else float("inf"),
            _tail(a, b, found.levels[i].freedom, found.levels[j].freedom),
        )
        for a, b, i, j in tests
    ]
    last = found.levels[2]
    sources.append(Source("repeats", last.freedom, last.squares, last.mean_square, None, None))
    person, part, repeat = (lv.variance for lv in found.levels)
    gauge = Estimate(
        person.value + repeat.value,
        max(repeat.lower, person.lower + repeat.lower),
        person.upper + repeat.upper,
        confidence,
        "sum of the two intervals, so on the wide side",
    )
    total = found.total
    return GaugeStudy(
        n=found.n,
        design="nested",
        interaction_kept=False,
        sources=tuple(sources),
        variances={"persons": found.levels[0].raw, "parts": found.levels[1].raw, "repeats": last.raw},
        repeatability=as_spread(repeat),
        reproducibility=as_spread(person),
        gauge=as_spread(gauge),
        parts=as_spread(part),
        gauge_share=gauge.value / total if total > 0 else float("nan"),
        confidence=confidence,
        warnings=found.warnings if total > 0 else (*found.warnings, "all readings are equal, so there is no share"),
    )


def _spread(variance: float, bound: Estimate) -> Estimate:
    """A spread from a variance that may have been cut at 0, its interval stretched to hold it."""
    return as_spread(
        Estimate(variance, min(bound.lower, variance), max(bound.upper, variance), bound.confidence, bound.method)
    )


def _arrange(
    values: npt.ArrayLike, parts: Sequence[Hashable], persons: Sequence[Hashable]
) -> tuple[Floats, tuple[int, int, int]]:
    """Deviations from the grand mean as parts x persons x repeats."""
    array = read_values(values)
    if len(parts) != array.size or len(persons) != array.size:
        raise StatisticsError("each value needs a part and a person", field="parts, persons", found=len(parts))
    rows, columns = list(dict.fromkeys(parts)), list(dict.fromkeys(persons))
    cells: dict[tuple[Hashable, Hashable], list[float]] = {}
    _, d = centre_and_deviations(array)
    for value, part, person in zip(d.tolist(), parts, persons, strict=True):
        cells.setdefault((part, person), []).append(value)
    counts = {len(v) for v in cells.values()}
    if len(rows) < 2 or len(columns) < 2 or counts == {1}:
        raise TooFewError(
            "two parts, two persons and two repeats are the least",
            field="parts, persons",
            found=f"{len(rows)} parts, {len(columns)} persons",
        )
    if len(cells) < len(rows) * len(columns) or len(counts) > 1:
        raise StatisticsError(
            "every person must read every part equally often",
            field="parts, persons",
            found=f"{len(cells)} of {len(rows) * len(columns)} combinations",
            hint="fill the holes, or leave that part or person out",
        )
    r = counts.pop()
    grid = np.array([[cells[row, column] for column in columns] for row in rows])
    return grid, (len(rows), len(columns), r)


def _sources(squares: dict[str, float], freedom: dict[str, int], mean: dict[str, float]) -> tuple[Source, ...]:
    lines = []
    for name, against in (("parts", "interaction"), ("persons", "interaction"), ("interaction", "repeats")):
        ratio = mean[name] / mean[against] if mean[against] > 0 else float("inf")
        p = _tail(mean[name], mean[against], freedom[name], freedom[against])
        lines.append(Source(name, freedom[name], squares[name], mean[name], ratio, p))
    lines.append(Source("repeats", freedom["repeats"], squares["repeats"], mean["repeats"], None, None))
    return tuple(lines)


def _tail(upper: float, lower: float, f: int, g: int) -> float:
    if lower <= 0:
        return 0.0 if upper > 0 else 1.0
    return float(special.fdtrc(f, g, upper / lower))
