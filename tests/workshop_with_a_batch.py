"""An invented workshop with one fault: batch M09 is four spreads high on its trial pack. Everything else is sound."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from qclog.services.exchange.import_folder import import_folder
from qclog.store.log import Log
from tests.conftest import SHEET, submission, write_folder

START = datetime(2026, 1, 5, 8)
HIGH = range(40, 48)


def rows(first: int, count: int, *, batch: str = "", high: float = 0.0, seed: int = 1) -> tuple[str, str, str]:
    """Jobs, parts and readings of `count` units from number `first` on, one a day; `high` thou more than the usual."""
    rng = np.random.default_rng(seed + first)
    jobs, parts, readings = "", "", ""
    for i in range(first, first + count):
        at = START + timedelta(days=i)
        mine, more = ("M09", 6.0) if i in HIGH else (batch or f"M{i % 4:02}", high)
        jobs += f"K-{i:03},MR-1,S-{i:03},1,{mine},{at.isoformat()},{(at + timedelta(days=3)).isoformat()}\n"
        parts += f"K-{i:03},bearing,B-{i // 10},new\n"
        value = 40 + more + 1.5 * rng.normal()
        readings += f"K-{i:03},trial_pack,trial,,{value:.1f},MC-1,Ash,{(at + timedelta(hours=2)).isoformat()},\n"
        torque = 12.5 + rng.normal()
        readings += (
            f"K-{i:03},torque,final,,{torque:.1f},TQ-1,Ash,{(at + timedelta(hours=3)).isoformat()},oiled rotating\n"
        )
    return jobs, parts, readings


def add_units(log: Log, folder: Path, first: int, count: int, *, batch: str = "", high: float = 0.0) -> None:
    """Bring more units in."""
    jobs, parts, readings = rows(first, count, batch=batch, high=high)
    write_folder(
        folder,
        sheet=SHEET,
        people="person,role\nAsh,technician\nHeron,inspector\n",
        gauges="gauge,kind,unit,step,leaves\nMC-1,micrometer,thou,0.1,\nTQ-1,torque,lbf·in,0.1,\n",
        jobs="job,case_type,case_serial,rebuild,machining_batch,opened,dispatched\n" + jobs,
        parts="job,part,lot,condition\n" + parts,
        readings="job,characteristic,stage,position,reading,gauge,technician,taken_at,conditions\n" + readings,
    )
    import_folder(log, folder, submission(), timezone="Europe/London")
