"""How well findings name faults of known size in invented workshops. Run: pytest -m benchmark -s -k figures"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from qclog.domain.findings import Finding
from qclog.domain.jobs import Job
from qclog.domain.moments import now
from qclog.domain.places import Place
from qclog.services.exchange.import_folder import import_folder
from qclog.services.jobs import capture, jobs
from qclog.services.watch.watching import find_all
from qclog.store.log import Log
from qclog.watch.findings import find
from tests.benchmarks.textbook import flags
from tests.benchmarks.workshops import Fault, build, write_exchange
from tests.conftest import submission

pytestmark = pytest.mark.benchmark
FAULTY_SEEDS, SOUND_SEEDS = range(201, 221), range(301, 311)
YEARS = 2


def explains(finding: Finding, fault: Fault) -> bool:
    return (finding.identifier, finding.level) == (fault.identifier, fault.level) and bool(
        fault.characteristics & set(finding.characteristics)
    )


def test_figures_on_faulty_workshops() -> None:
    """Goal: 95 % of group faults found, 90 % named right, 90 % of single odd units, at most 0.05 false findings per
    1,000 sound readings, half of the batch faults by their sixth unit.
    """
    planted = found = singles = single_found = false = sound = 0
    units_until: list[int] = []
    textbook, textbook_sound, seconds = 0, 0, 0.0
    for seed in FAULTY_SEEDS:
        shop = build(seed)
        start = time.perf_counter()
        findings = [f for f in find(shop.observations) if f.stands]
        seconds += time.perf_counter() - start
        used = set()
        for fault in shop.faults:
            hits = [f for f in findings if explains(f, fault)]
            planted, found = planted + 1, found + bool(hits)
            used |= {f.id for f in hits}
            if hits and fault.cause == "odd machining":
                units_until.append(hits[0].jobs.index(hits[0].found_at_job) + 1)
        for job, code in shop.singles:
            hits = [f for f in findings if f.cause == "odd casing" and job in f.jobs and code in f.characteristics]
            singles, single_found = singles + 1, single_found + bool(hits)
            used |= {f.id for f in hits}
        false += len([f for f in findings if f.id not in used])
        sound += len(shop.observations.rows) - len(shop.touched)
        flagged, of = flags(shop.observations.rows, shop.touched)
        textbook, textbook_sound = textbook + flagged, textbook_sound + of
    per_thousand = 1000 * false / sound
    print(
        f"\ngroup faults found and named {found}/{planted} = {found / planted:.1%}; single odd units"
        f" {single_found}/{singles} = {single_found / singles:.1%}; false findings per 1,000 sound readings"
        f" {per_thousand:.3f}, the textbook way {1000 * textbook / textbook_sound:.0f};"
        f" batch faults found at unit {np.median(units_until):.0f} (median);"
        f" {seconds / len(FAULTY_SEEDS):.1f} s a workshop of 25,000 readings"
    )
    assert found / planted >= 0.95
    assert single_found / singles >= 0.90
    assert per_thousand <= 0.05
    assert 1000 * textbook / textbook_sound > 20 * per_thousand
    assert np.median(units_until) <= 6


def test_figures_on_sound_workshops() -> None:
    """Goal: at most one false finding a year in a faultless shop."""
    false = sum(f.stands for seed in SOUND_SEEDS for f in find(build(seed, faulty=False).observations))
    print(f"\nfindings in sound workshops: {false / (YEARS * len(SOUND_SEEDS)):.2f} a year")
    assert false / (YEARS * len(SOUND_SEEDS)) <= 1.0


def test_time_grows_in_step_with_readings() -> None:
    """Seconds for up to forty times the volume (a million readings), and each as a ratio to the first's pace."""
    scales, times = (1, 4, 16, 40), []
    for scale in scales:
        o = build(5, scale=scale).observations
        start = time.perf_counter()
        found = find(o)
        times.append(time.perf_counter() - start)
        pace = times[-1] / scale / times[0]
        print(f"\n{len(o.rows):,} readings: {times[-1]:.1f} s, {len(found)} findings, {pace:.2f} of the first's pace")
    assert times[1] / times[0] < 12


def test_one_more_job_on_25000_readings(tmp_path: Path) -> None:
    """A workshop through import, one more job stored, and the findings brought up to date."""
    shop = build(11)
    log = Log(tmp_path / "shop.duckdb")
    import_folder(log, write_exchange(shop, tmp_path / "folder"), submission())
    findings = find_all(log)
    for fault in shop.faults:
        assert any(explains(f, fault) for f in findings), fault
    jobs.open_job(log, Job("NEW-1", "T0", now()), submission())
    place = Place("NEW-1", "c0", "final")
    capture.take(log, place, "20", capture.Circumstances("Ash", "FG-1"), submission())
    times = []
    for _ in range(3):
        start = time.perf_counter()
        find_all(log)
        times.append(time.perf_counter() - start)
    print(f"\nfindings after one more job, log read and all: {min(times):.2f} s")
    assert min(times) < 1.5
