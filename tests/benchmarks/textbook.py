"""The textbook way, beside which the watch is measured: three-sigma limits and the eight run tests."""

from __future__ import annotations

import numpy as np
import polars as pl

from qclog.stats.charts.run_tests import NELSON_1984, mark


def flags(rows: pl.DataFrame, touched: set[tuple[str, str]]) -> tuple[int, int]:
    """Sound readings flagged by three-sigma limits from the first 20 units and the eight run tests; all sound ones.

    `touched` has (job, characteristic) of those that are not sound.
    """
    flagged = sound = 0
    for _, series in rows.group_by("case_type", "characteristic", maintain_order=True):
        values = series["value"].to_numpy()
        if len(values) < 25:
            continue
        spread = np.abs(np.diff(values[:20])).mean() / (2 / np.sqrt(np.pi)) or 1.0
        marks = np.any(list(mark((values - values[:20].mean()) / spread, NELSON_1984).values()), axis=0)
        clean = np.array([(j, c) not in touched for j, c in series.select("job", "characteristic").rows()], dtype=bool)
        flagged += int((marks & clean).sum())
        sound += int(clean.sum())
    return flagged, sound
