"""Where a reading belongs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where a reading belongs: a job's characteristic, stage and position ('' where there is only one)."""

    job: str
    characteristic: str
    stage: str
    position: str = ""
