"""How long a pack takes to choose, as a ratio to the 20 ms a bench may wait."""

from __future__ import annotations

import time

import numpy as np
import pytest

from qclog.bench.packs import Leaf, Want, choose_pack

BUDGET_SECONDS = 0.020


@pytest.mark.benchmark
def test_a_drawer_of_sixty_leaves() -> None:
    rng = np.random.default_rng(3)
    odd = [Leaf(round(float(s), 2)) for s in rng.uniform(1.9, 20.5, 60)]
    usual = [Leaf(n + round(float(rng.normal(0, 0.1)), 1), 12, n) for n in (2, 3, 5, 10, 20)]
    for name, drawer in (("sixty odd sizes", odd), ("twelve each of five", usual)):
        took = []
        for wanted in rng.uniform(20, 90, 15):
            start = time.perf_counter()
            choose_pack(drawer, Want(float(wanted), 0.3))
            took.append(time.perf_counter() - start)
        ratio = float(np.median(took)) / BUDGET_SECONDS
        print(f"\n{name}: {ratio:.2f} of {1000 * BUDGET_SECONDS:.0f} ms (median of {len(took)})")
        assert ratio < 1
