"""Many people on one log at once: sessions of the page (threads), terminals and an import (programs)."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID

from qclog.services.jobs import jobs
from qclog.services.keeping.verifying import verify
from qclog.store.ids import new_id
from qclog.store.log import Log
from tests.conftest import write_folder
from tests.durability.worker import store

ROOT = Path(__file__).parents[2]


@dataclass
class Hands:
    """What was acknowledged to whom, and how long each waited."""

    waits: list[float] = field(default_factory=list)
    keys: list[UUID] = field(default_factory=list)
    said_at_terminals: list[str] = field(default_factory=list)
    import_seconds: float = 0.0

    def __str__(self) -> str:
        ordered = sorted(self.waits)
        middle, late = ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.99)]
        return (
            f"6 sessions: {len(self.keys)} readings, 2 terminals: {len(self.said_at_terminals)} readings, an import of"
            f" {self.import_seconds:.1f} s meanwhile; a session waited {1000 * middle:.0f} ms in the middle,"
            f" {1000 * late:.0f} ms one time in a hundred, {1000 * ordered[-1]:.0f} ms at worst; lost 0, doubled 0"
        )


def work_together(log: Log, folder: Path, *, each: int, at_terminals: int, imported: int) -> Hands:
    """Six sessions of `each` readings, two terminals of `at_terminals`, an import of `imported`, all at once.

    AssertionError if anything acknowledged is lost or doubled, or anyone was turned away.
    """
    hands, guard, faults = Hands(), threading.Lock(), []
    incoming = write_folder(
        folder / "incoming",
        jobs="job,case_type,opened\nJ-50,MR-1,2026-01-05\n",
        readings="job,characteristic,stage,position,attempt,reading,technician,taken_at\n"
        + "".join(
            f"J-50,stand_off,trial,{(12, 3, 6, 9)[i % 4]},{i // 4 + 1},{15 + i % 3},Ash,2026-01-05T09:00\n"
            for i in range(imported)
        ),
    )

    def session() -> None:
        for number in range(each):
            key = new_id()
            start = time.perf_counter()
            try:
                store(log, number, key)
            except Exception as error:  # noqa: BLE001 - told by the test in its own thread
                with guard:
                    faults.append(error)
                return
            with guard:
                hands.waits.append(time.perf_counter() - start)
                hands.keys.append(key)

    def terminal(who: int) -> None:
        for number in range(at_terminals):
            note = f"terminal {who}, {number}"
            done = qclog(
                "read", "J-1", "stand_off", "16", "--position", "12", "--stage", "trial", "--note", note, log=log
            )
            with guard:
                if done.returncode:
                    faults.append(AssertionError(done.stderr))
                hands.said_at_terminals.append(note)

    def bring_in() -> None:
        start = time.perf_counter()
        done = qclog("import", str(incoming), log=log)
        hands.import_seconds = time.perf_counter() - start
        if done.returncode:
            faults.append(AssertionError(done.stderr))

    people = [threading.Thread(target=session) for _ in range(6)]
    people += [threading.Thread(target=terminal, args=(i,)) for i in range(2)]
    people.append(threading.Thread(target=bring_in))
    for one in people:
        one.start()
    for one in people:
        one.join()
    assert not faults, faults[:3]
    notes = Counter(r.row.note for r in jobs.tell(log, "J-1").readings)
    assert notes == Counter([*map(str, hands.keys), *hands.said_at_terminals])
    report = verify(log)
    assert report.sound
    assert report.readings == len(hands.keys) + len(hands.said_at_terminals) + imported
    return hands


def qclog(*arguments: str, log: Log) -> subprocess.CompletedProcess[str]:
    """A command of its own program."""
    return subprocess.run(
        [sys.executable, "-m", "qclog", *arguments, "--log", str(log.path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env=os.environ | {"QCLOG_PERSON": "Ash"},
        timeout=300,
    )
