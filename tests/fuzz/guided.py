"""Looks for inputs that reach new code, by libFuzzer through atheris.

`python -m tests.fuzz.guided TARGET RUNS SECONDS`; needs the extra `fuzz`.
Ends with libFuzzer's own line of what was done; a crash or a hang of ten seconds fails.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["qclog", "tests.fuzz"]):
    from tests.fuzz.targets import SEEDS, TARGETS


def main() -> None:
    """Run one target."""
    name, runs, seconds = sys.argv[1:]
    corpus = Path(tempfile.mkdtemp(prefix="corpus"))
    for number, seed in enumerate(SEEDS[name]):
        (corpus / f"{number}").write_bytes(seed)
    options = [
        f"-runs={runs}",
        f"-max_total_time={seconds}",
        "-timeout=10",
        "-max_len=2000",
        "-seed=7",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *options, f"-artifact_prefix={corpus}/", str(corpus)], TARGETS[name])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
