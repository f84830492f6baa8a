"""Whether the trouble of a closed finding has come back."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl
from scipy import special

from qclog.domain.findings import Finding
from qclog.watch.observations import Observations
from qclog.watch.residuals import FEWEST, Floats, standardise, winsorised

BACK_AT_LEAST = 0.5  # of the size it had: less than half of it is not the same trouble
BACK_BY_LUCK = 0.05


def jobs_again(
    finding: Finding, closed: datetime, observations: Observations, opened: dict[str, datetime]
) -> tuple[str, ...]:
    """The affected jobs opened or read after `closed`, if those alone show at least half of the trouble again."""
    if not finding.sizes:
        return _heaped_again(finding, closed, observations.ticks)
    rows = observations.rows.with_row_index("row")
    recent = pl.col("job").is_in([j for j in finding.jobs if opened.get(j, closed) > closed])
    rows = rows.filter(pl.col("job").is_in(list(finding.jobs)) & (recent | (pl.col("taken_at") > closed)))
    if rows.is_empty():
        return ()
    z = _against_the_rest(finding, observations)
    sizes = {(case_type, code, stage): size for case_type, code, stage, size, _, _ in finding.sizes}
    expected = np.array(
        [
            sizes.get((r["case_type"], r["characteristic"], r["stage"]), 0.0)
            * (max(0, (r["rebuild"] or 0) - 1) if finding.per_rebuild else 1.0)
            for r in rows.iter_rows(named=True)
        ]
    )
    here = z[rows["row"].to_numpy()]
    use = np.isfinite(here) & (expected != 0.0)
    weight = float((expected[use] ** 2).sum())
    if weight == 0.0:
        return ()
    share = float((here[use] * expected[use]).sum()) / weight
    if share < BACK_AT_LEAST or share * np.sqrt(weight) < -special.ndtri(BACK_BY_LUCK):
        return ()
    return tuple(rows["job"].unique(maintain_order=True))


def _against_the_rest(finding: Finding, observations: Observations) -> Floats:
    """Each row in spreads from the middle of those of its series that the finding does not name.

    Where it names nearly all, as it may after a long time, from the middle of all.
    """
    residuals = standardise(observations)
    z = np.full(len(observations.rows), np.nan)
    z[residuals.row] = residuals.z
    values = observations.rows["value"].to_numpy()
    sound = ~observations.rows["job"].is_in(list(finding.jobs)).to_numpy()
    order = np.argsort(residuals.series, kind="stable")
    for part in np.split(order, np.flatnonzero(np.diff(residuals.series[order])) + 1):
        at = residuals.row[part]
        others = values[at[sound[at]]]
        if len(others) >= FEWEST:
            middle, wide = winsorised(others)
            z[at] = (values[at] - middle) / (wide if wide > 0 else residuals.spread[part[0]])
    return z


def _heaped_again(finding: Finding, closed: datetime, ticks: pl.DataFrame) -> tuple[str, ...]:
    """The jobs read after `closed`, if that person's leaves still fall on the same side more often than luck would."""
    mine = ticks.filter((pl.col("technician") == finding.level) & (pl.col("taken_at") > closed))
    if mine.is_empty():
        return ()
    even = int(mine["even"].sum())
    hits = len(mine) - even if finding.id.endswith("odd") else even
    if special.bdtrc(hits - 1, len(mine), 0.5) > BACK_BY_LUCK:  # at least so many hits by luck
        return ()
    return tuple(mine["job"].unique(maintain_order=True))
