"""kill -9 at any moment: every acknowledged reading is there, none twice, no half job, and the log verifies.

The short set runs with the rest; the long one by `pytest -m long -s tests/durability`.
"""

from __future__ import annotations

import itertools
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.durability.kills import ACTIONS, Tally, Workbench

LONG = 54  # kills of each action


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Workbench:
    """Logs to work on."""
    return Workbench(tmp_path_factory.mktemp("kills"))


@pytest.mark.parametrize("action", ACTIONS)
def test_a_kill_loses_nothing_acknowledged(bench: Workbench, action: str) -> None:
    tally = Tally()
    for seed in (1, 2):
        bench.kill_one(action, seed, tally)
    assert tally.kills[action] == 2


@pytest.mark.long
def test_three_hundred_kills(bench: Workbench) -> None:
    tally, guard = Tally(), threading.Lock()

    def kill(work: tuple[int, str]) -> None:
        mine = Tally()
        bench.kill_one(work[1], 1000 + work[0], mine)
        with guard:
            tally.kills += mine.kills
            tally.midway += mine.midway
            tally.acknowledged += mine.acknowledged

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(kill, itertools.product(range(LONG), ACTIONS)))
    print(f"\n{tally}")
    assert tally.kills.total() >= 300
    assert all(tally.midway[a] > 0 for a in ACTIONS)
