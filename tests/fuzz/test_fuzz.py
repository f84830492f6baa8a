"""Bad input: no crash, no hang, no wrong acceptance, whatever the bytes.

The short set makes variations of the seeds at random; the long one is guided by what code they reach:
`pip install -e '.[fuzz]'`, then `pytest -m long -s tests/fuzz`.
"""

from __future__ import annotations

import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.targets import SEEDS, TARGETS

ROOT = Path(__file__).parents[2]
LONG = {"reading": (900_000, 600), "sheet": (400_000, 600), "csv": (200_000, 600)}  # inputs, and the most seconds


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_seeds_are_accepted_or_refused_as_they_should_be(name: str) -> None:
    accepted = [TARGETS[name](seed) for seed in SEEDS[name]]
    assert any(accepted)
    assert not all(accepted)


def variations(name: str) -> st.SearchStrategy[bytes]:
    """Seeds with pieces of others, bytes and repeats put in, taken out or swapped."""
    piece = st.sampled_from(SEEDS[name]).flatmap(
        lambda seed: st.tuples(st.integers(0, len(seed)), st.integers(0, 12)).map(lambda c: seed[c[0] : c[0] + c[1]])
    )
    edit = st.tuples(st.floats(0, 1), st.integers(0, 6), piece | st.binary(max_size=3))

    def apply(seed: bytes, edits: list[tuple[float, int, bytes]]) -> bytes:
        for where, gone, new in edits:
            at = round(where * len(seed))
            seed = seed[:at] + new + seed[at + gone :]
        return seed

    return st.builds(apply, st.sampled_from(SEEDS[name]), st.lists(edit, max_size=4)) | st.binary(max_size=40)


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_variations_of_them_too(name: str) -> None:
    @settings(max_examples=400, deadline=None, database=None)
    @given(variations(name))
    def holds(data: bytes) -> None:
        TARGETS[name](data)

    holds()


@pytest.mark.long
def test_a_million_guided_inputs() -> None:
    def run(name: str) -> tuple[str, int, str]:
        runs, seconds = LONG[name]
        command = [sys.executable, "-m", "tests.fuzz.guided", name, str(runs), str(seconds)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=3 * seconds)
        assert done.returncode == 0, done.stderr[-3000:]
        number = re.search(r"Done (\d+) runs", done.stderr)
        assert number is not None, done.stderr[-3000:]
        units = re.search(r"stat::new_units_added: +(\d+)", done.stderr)
        return name, int(number[1]), units[1] if units else "?"

    with ThreadPoolExecutor(2) as pool:
        came = list(pool.map(run, LONG))
    total = sum(inputs for _, inputs, _ in came)
    each = "; ".join(f"{name} {inputs:,} inputs, {new} of them reached something new" for name, inputs, new in came)
    print(f"\n{total:,} inputs: {each}; crashes 0, hangs 0, wrong acceptances 0")
    assert total >= 1_000_000
