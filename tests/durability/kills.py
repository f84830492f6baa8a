"""Kills a child at a random moment of its work, then looks at what is left."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID

import duckdb

from qclog.domain import stored
from qclog.services.exchange.export_folder import export_folder
from qclog.services.exchange.import_folder import import_folder
from qclog.services.exchange.parquet_copy import export_parquet, import_parquet
from qclog.services.jobs import jobs
from qclog.services.keeping.verifying import verify
from qclog.store import migrations
from qclog.store.log import Log
from tests.conftest import make_log, submission, write_folder
from tests.durability.worker import store
from tests.store.test_upgrades import make_old, rows_in

ROOT = Path(__file__).parents[2]
ACTIONS = ("capture", "correction", "import", "migration", "backup", "export")
SPAN = {"capture": 1.2, "correction": 1.2, "import": 1.3, "migration": 1.0, "backup": 1.0, "export": 1.0}  # seconds
READINGS = 20_000
MANY_OLD = """
    INSERT INTO reading
    SELECT r.* REPLACE (uuidv7() AS id, CAST(100 + t.i AS INTEGER) AS attempt)
    FROM reading AS r, range(?) AS t(i)
    WHERE r.characteristic = 'float' AND r.attempt = 1 AND r.job = 'J-1'
"""


@dataclass
class Tally:
    """What came of many kills."""

    kills: Counter[str] = field(default_factory=Counter)
    midway: Counter[str] = field(default_factory=Counter)  # a step was begun and not acknowledged
    acknowledged: int = 0

    def __str__(self) -> str:
        each = ", ".join(f"{a} {self.kills[a]} ({self.midway[a]} in the midst of a step)" for a in ACTIONS)
        return (
            f"{self.kills.total()} kills: {each}; {self.acknowledged:,} steps acknowledged; lost 0, doubled 0, half 0"
        )


class Workbench:
    """Logs to work on, made once and copied for every kill."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.fresh = make_log(folder / "fresh.duckdb").path
        self.incoming = write_folder(
            folder / "incoming",
            jobs="job,case_type,opened\nJ-50,MR-1,2026-01-05\n",
            readings="job,characteristic,stage,position,attempt,reading,technician,taken_at\n"
            + "".join(
                f"J-50,stand_off,trial,{(12, 3, 6, 9)[i % 4]},{i // 4 + 1},{15 + i % 3},Ash,2026-01-05T09:00\n"
                for i in range(READINGS)
            ),
        )
        self.full = Path(shutil.copy(self.fresh, folder / "full.duckdb"))
        import_folder(Log(self.full), self.incoming, submission())
        self.old = make_old(folder / "old.duckdb", 3).path
        with duckdb.connect(str(self.old)) as raw:
            raw.execute(MANY_OLD, [READINGS])
        self.old_rows = rows_in(self.old)

    def kill_one(self, action: str, seed: int, tally: Tally) -> None:
        """Start a child, kill it, and check the log: AssertionError if anything is lost, doubled or half there."""
        there = self.folder / f"{action}-{seed}"
        there.mkdir()
        source = {"migration": self.old, "backup": self.full, "export": self.full}.get(action, self.fresh)
        log = Log(Path(shutil.copy(source, there / "shop.duckdb")))
        place = self.incoming if action == "import" else there
        tried, done = self._work(action, log, place, random.Random(f"{action}{seed}"))  # noqa: S311 - moments
        getattr(self, f"check_{action}")(log, there, tried, done)
        report = verify(log)
        assert report.sound, (action, seed, report)
        tally.kills[action] += 1
        tally.midway[action] += len(tried) > len(done)
        tally.acknowledged += len(done)
        shutil.rmtree(there)

    @staticmethod
    def _work(action: str, log: Log, place: Path, chance: random.Random) -> tuple[list[str], list[str]]:
        command = [sys.executable, "-m", "tests.durability.worker", action, str(log.path), str(place)]
        heard = log.path.with_suffix(".heard")  # a file, since what a killed child wrote to it can't be lost in a pipe
        with heard.open("w") as out:
            child = subprocess.Popen(command, cwd=ROOT, stdout=out, stderr=subprocess.PIPE, text=True)
        while not heard.read_text().startswith("ready\n") and child.poll() is None:
            time.sleep(0.02)
        time.sleep(chance.uniform(0, SPAN[action]))
        child.kill()
        _, err = child.communicate(timeout=60)
        assert "Traceback" not in err, err
        first, *words = [line.split() for line in heard.read_text().splitlines()]
        assert first == ["ready"], err
        return [w[1] for w in words if w[0] == "try"], [w[1] for w in words if w[0] == "done"]

    def check_capture(self, log: Log, _there: Path, tried: list[str], done: list[str]) -> None:
        """Every acknowledged reading once, the one under way at most once; sent again, it is there once."""
        notes = Counter(r.row.note for r in jobs.tell(log, "J-1").readings)
        assert not notes or max(notes.values()) == 1
        assert set(done) <= set(notes) <= set(tried)
        if tried:
            store(log, len(tried) - 1, UUID(tried[-1]))
            again = Counter(r.row.note for r in jobs.tell(log, "J-1").readings)
            assert again == Counter(tried)

    def check_correction(self, log: Log, _there: Path, tried: list[str], done: list[str]) -> None:
        """Attempts without a gap, each correcting the one before, and only the last counts."""
        readings = [r.row for r in jobs.tell(log, "J-1").readings]
        assert [r.attempt for r in readings] == list(range(1, len(readings) + 1))
        assert [r.replaces for r in readings] == [None, *range(1, len(readings))][: len(readings)]
        assert [r.counts for r in readings] == [False] * (len(readings) - 1) + [True] * bool(readings)
        if tried:
            assert 1 + len(done) <= len(readings) <= 1 + len(tried)

    def check_import(self, log: Log, _there: Path, _tried: list[str], done: list[str]) -> None:
        """All of it or nothing; the same import again makes it whole."""
        counts = self._counts(log)
        assert counts in ((0, 1), (READINGS, 2))
        assert counts[0] or not done
        import_folder(log, self.incoming, submission())
        assert self._counts(log) == (READINGS, 2)

    @staticmethod
    def _counts(log: Log) -> tuple[int, int]:
        with log.reading() as use:
            row = use.rows("counts", stored.Counts)[0]
        return row.readings, row.jobs

    def check_migration(self, log: Log, there: Path, _tried: list[str], done: list[str]) -> None:
        """The old log or the new one, with every row; and what lies beside it under a whole name is whole."""
        now = rows_in(log.path)
        steps = [row[0] for row in now["migration"]]
        assert steps in ([1, 2, 3], list(range(1, len(migrations.known()) + 1)))
        assert len(steps) > 3 or not done
        for copy in there.glob("shop-before-step-*.duckdb"):
            assert rows_in(copy) == self.old_rows
        assert len(steps) == 3 or list(there.glob("shop-before-step-*.duckdb"))
        assert verify(log).sound
        after = rows_in(log.path)
        assert {t: after[t] for t in self.old_rows if t != "migration"} == {
            t: rows for t, rows in self.old_rows.items() if t != "migration"
        }
        assert not list(there.glob(".*unfinished*")) or len(steps) > 3

    def check_backup(self, log: Log, there: Path, _tried: list[str], done: list[str]) -> None:
        """Whatever has a backup's name is whole."""
        whole = rows_in(log.path)
        copies = sorted(f for f in there.glob("*.duckdb") if f != log.path)
        assert {f"{n}.duckdb" for n in done} <= {f.name for f in copies}
        for copy in copies[-2:]:
            assert rows_in(copy) == whole

    def check_export(self, log: Log, there: Path, _tried: list[str], done: list[str]) -> None:
        """Whatever has an export's name is whole, and comes in again."""
        folders = sorted(int(f.name) for f in there.iterdir() if f.is_dir() and f.name.isdigit())
        assert {int(n) for n in done} <= set(folders)
        for number in folders[-2:]:
            (export_parquet if number % 2 else export_folder)(log, there / f"again{number}")
            one, two = (
                {f.relative_to(d): f.read_bytes() for d in [there / name] for f in d.rglob("*") if f.is_file()}
                for name in (str(number), f"again{number}")
            )
            assert one == two
        if folders and folders[-1] % 2:
            assert import_parquet(Log(there / "new.duckdb"), there / str(folders[-1])).sound
