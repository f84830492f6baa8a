"""Where a log may lie: DuckDB takes some letters of a path for something else."""

from __future__ import annotations

import os
from pathlib import Path

from qclog.errors import LogError

_TAKEN = "?" if os.name == "nt" else "?\\"  # a question begins options of a URL; a backslash becomes a slash


def path_for_duckdb(path: Path) -> str:
    """The path as DuckDB opens it. LogError if DuckDB would open another."""
    taken = next((letter for letter in str(path.absolute()) if letter in _TAKEN), None)
    if taken is not None:
        raise LogError(
            f"a log can't lie where a name has {taken} in it",
            field="log",
            found=path,
            hint="DuckDB reads it otherwise; name the file and its folders without it",
        )
    return str(path)
