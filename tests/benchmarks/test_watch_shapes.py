"""How well findings name faults of known size in shops of nine shapes. Run: pytest -m benchmark -s -k shapes

The textbook way beside it: three-sigma limits from the first twenty units of each series, and the eight run tests.
"""

from __future__ import annotations

import os
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest

from qclog.domain.findings import Finding
from qclog.watch.findings import find
from qclog.watch.replay import replay
from tests.benchmarks.shapes import SHAPES, Shop, build_shape
from tests.benchmarks.textbook import flags
from tests.benchmarks.workshops import Fault

pytestmark = pytest.mark.benchmark
SEEDS = range(*map(int, os.environ.get("QCLOG_SEEDS", "41 47").split()))
SOUND_FROM = 5_000


def touches(finding: Finding, fault: Fault) -> bool:
    """Whether a finding is about a fault: a characteristic in common, and most of the units of one of them."""
    both = len(set(finding.jobs) & fault.jobs)
    shown = bool(fault.characteristics & set(finding.characteristics)) and finding.cause != "odd casing"
    return shown and (both >= 0.5 * len(fault.jobs) or both >= 0.6 * len(finding.jobs))


def names(finding: Finding, fault: Fault) -> bool:
    """Whether it has the fault's own name, and calls a wider scatter and a drift so."""
    kinds = (finding.direction == "wider", finding.cause == "drift")
    return (finding.identifier, finding.level) == (fault.identifier, fault.level) and kinds == (
        fault.cause == "wider",
        fault.cause == "drift",
    )


def score(shop: Shop, findings: list[Finding]) -> Counter[str]:
    """Faults planted, found and named, single units, and false findings."""
    counts: Counter[str] = Counter()
    used: set[str] = set()
    for fault in shop.faults:
        about = [f for f in findings if touches(f, fault)]
        named = [f for f in about if names(f, fault)]
        counts.update(planted=1, found=bool(about), named=bool(named))
        used |= {f.id for f in named}
        used |= {f.id for f in about if (fault.identifier, fault.level) in f.confounded_with}
    for job, code in shop.singles:
        about = [f for f in findings if f.cause == "odd casing" and job in f.jobs and code in f.characteristics]
        counts.update(singles=1, singles_found=bool(about))
        used |= {f.id for f in about}
    false = [f for f in findings if f.id not in used]
    counts.update(false=len(false), people=sum(f.cause == "technician" for f in false))
    counts.update(sound=len(shop.observations.rows) - len(shop.touched))
    return counts


def one(place: tuple[int, int]) -> Counter[str]:
    """A shop of a shape with its faults, and one without."""
    number, seed = place
    shape = SHAPES[number]
    shop = build_shape(shape, seed)
    start = time.perf_counter()
    counts = score(shop, [f for f in find(shop.observations) if f.stands])
    counts["ms"] = round(1000 * (time.perf_counter() - start))
    counts["textbook"], _ = flags(shop.observations.rows, shop.touched)
    sound = build_shape(shape, seed + SOUND_FROM, faulty=False)
    counts["false_in_sound"] = sum(f.stands for f in find(sound.observations))
    counts["months"] = shape.months
    return counts


def row(name: str, c: Counter[str], shops: int) -> str:
    """One line of the table."""
    return (
        f"| {name} | {c['found']}/{c['planted']} | {c['named']}/{c['planted']} | {c['singles_found']}/{c['singles']}"
        f" | {1000 * c['false'] / c['sound']:.3f} | {c['people']} | {12 * c['false_in_sound'] / c['months']:.2f}"
        f" | {1000 * c['textbook'] / c['sound']:.0f} | {c['ms'] / shops / 1000:.2f} |"
    )


def test_figures_by_shape() -> None:
    """Goals over all shapes: 95 % of group faults found, 90 % named, 90 % of singles, 0.05 false per 1,000 sound
    readings, one a year in a sound shop of any shape, and nobody named wrongly.
    """
    places = [(number, seed) for number in range(len(SHAPES)) for seed in SEEDS]
    by_shape = [Counter[str]() for _ in SHAPES]
    with ProcessPoolExecutor() as pool:
        for (number, _), counts in zip(places, pool.map(one, places), strict=True):
            by_shape[number].update(counts)
    print("\n| shape | found | named | singles | false per 1,000 | people | false a year, sound | textbook | s |")
    print("|---|---|---|---|---|---|---|---|---|")
    for shape, counts in zip(SHAPES, by_shape, strict=True):
        print(row(shape.name, counts, len(SEEDS)))
    total = sum(by_shape, Counter[str]())
    print(row("all", total, len(places)))
    assert total["found"] >= 0.95 * total["planted"]
    assert total["named"] >= 0.90 * total["planted"]
    assert total["singles_found"] >= 0.90 * total["singles"]
    assert 1000 * total["false"] / total["sound"] <= 0.05
    assert total["people"] == 0
    for counts in by_shape:
        assert 12 * counts["false_in_sound"] / counts["months"] <= 1.0


def test_honest_delay_and_the_time_a_replay_takes_shapes() -> None:
    """Goal: 25,000 readings replayed in 30 s on two cores; half of the batch faults by their sixth unit."""
    units: list[int] = []
    for seed in list(SEEDS)[:2]:
        shop = build_shape(SHAPES[0], seed)
        findings = find(shop.observations)
        start = time.perf_counter()
        raised = replay(shop.observations, findings, 1.0)
        seconds = time.perf_counter() - start
        position = {job: i for i, job in enumerate(shop.observations.rows["job"].unique(maintain_order=True))}
        for fault in shop.faults:
            for finding in findings:
                if finding.id in raised and names(finding, fault) and fault.cause == "odd machining":
                    at = position[raised[finding.id][1]]
                    units.append(sum(position[job] <= at for job in fault.jobs))
        print(f"\n{len(shop.observations.rows):,} readings replayed in {seconds:.0f} s, {len(raised)} findings")
    print(f"batch faults raised at unit {np.median(units):.0f} of theirs (median of {len(units)})")
    assert np.median(units) <= 6
