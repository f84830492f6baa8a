"""What the log held when a folder began to be checked: read out in one go, so that others can use the log meanwhile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar
from zoneinfo import ZoneInfo

import polars as pl

from qclog.domain import stored
from qclog.exchange.folder import Folder
from qclog.services.keeping.sheets import timezone_of
from qclog.store.log import Use

_TABLES = (
    "sheets",
    "people",
    "gauges",
    "gauge_checks",
    "jobs_all",
    "parts_all",
    "comebacks_all",
    "strikes_all",
    "finding_notes",
    "changes",
    "person_changes",
    "gauge_details",
    "comeback_details",
    "house_details",
    "shim_stock",
    "shim_movements",
)


T = TypeVar("T", bound=tuple[object, ...])


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The log up to entry `revision`: its small tables by the name of their query, and the folder's jobs' readings."""

    revision: int
    zone: ZoneInfo
    tables: Mapping[str, Sequence[tuple[object, ...]]]
    readings: pl.DataFrame

    @property
    def next_entry(self) -> int:
        """The number of the entry that the import will be, if nobody comes before it."""
        return self.revision + 1

    def rows(self, query: str, kind: type[T]) -> list[T]:
        """The rows of one of the small tables."""
        return [row for row in self.tables[query] if isinstance(row, kind)]

    def readings_of(self, jobs: pl.DataFrame) -> pl.DataFrame:
        """The readings the log has of the jobs in the column `job`, as sql/queries/readings_of_jobs.sql gives them."""
        return self.readings.join(jobs.select("job").unique(), on="job", how="semi")


def take_snapshot(use: Use, folder: Folder) -> Snapshot:
    """What checking `folder` needs to know of the log; inside a transaction, of the log before its entry."""
    named = [folder.tables[table].select("job") for table in ("readings", "strikes")]
    return Snapshot(
        revision=use.rows("revision", stored.Revision)[0].revision if use.is_reading else use.entry - 1,
        zone=timezone_of(use),
        tables={query: use.rows(query, stored.KINDS[query]) for query in _TABLES},
        readings=use.frame_with("readings_of_jobs", "incoming_jobs", pl.concat(named).drop_nulls().unique()),
    )
