"""A full disk, a folder that may not be written, a kill or Ctrl-C in an import: told plainly, and nothing lost.

The disk is made full by the limit the operating system sets on a child's files (setrlimit, RLIMIT_FSIZE), and a
folder shut by its mode, which root is made to obey; neither needs a mount.
"""

from __future__ import annotations

import ctypes
import os
import pty
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from qclog.services.jobs import jobs
from qclog.services.keeping.verifying import verify
from qclog.store.log import Log

ROOT = Path(__file__).parents[2]


def qclog(*arguments: str, room: int | None = None) -> subprocess.CompletedProcess[str]:
    """`qclog ...` in a child whose files may grow to `room` bytes."""

    def limit() -> None:
        if room is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        if os.geteuid() == 0:
            _obey_file_modes()

    return subprocess.run(
        [sys.executable, "-m", "qclog", *arguments],
        check=False,
        capture_output=True,
        text=True,
        preexec_fn=limit,
        env=os.environ | {"PYTHONPATH": str(ROOT), "QCLOG_PERSON": "Ash"},
        timeout=120,
    )


def told(done: subprocess.CompletedProcess[str], *said: str) -> None:
    assert done.returncode == 1, done
    assert "Traceback" not in done.stderr, done.stderr
    for words in said:
        assert words in done.stderr, done.stderr


def _obey_file_modes() -> None:
    """Take from root, for the program about to be run, the right to write where the file modes forbid it."""
    drop_from_bounding_set, dac_override = 24, 1  # PR_CAPBSET_DROP and CAP_DAC_OVERRIDE of <linux/prctl.h>
    if ctypes.CDLL(None, use_errno=True).prctl(drop_from_bounding_set, dac_override, 0, 0, 0) != 0:
        raise OSError(ctypes.get_errno(), "root's right to write anywhere can't be dropped")


READ = ("read", "J-1", "trial_pack", "41", "--stage", "trial")


def test_a_reading_on_a_full_disk_is_refused_and_the_log_stays_sound(log: Log) -> None:
    told(qclog(*READ, "--log", str(log.path), room=300), "no room left on the disk", "is safe")
    assert jobs.tell(log, "J-1").readings == ()
    assert verify(log).sound
    assert qclog(*READ, "--log", str(log.path)).returncode == 0
    assert [r.row.said for r in jobs.tell(log, "J-1").readings] == ["41"]


@pytest.mark.parametrize("room", [1_000, 300_000])
def test_an_import_on_a_full_disk_leaves_no_log(tmp_path: Path, folder: Path, room: int) -> None:
    new = Log(tmp_path / "new.duckdb")
    told(qclog("import", str(folder), "--log", str(new.path), room=room), "no room left on the disk")
    assert not new.exists()
    assert [f.name for f in tmp_path.iterdir() if "duckdb" in f.name] == ["new.duckdb.lock"]
    assert qclog("import", str(folder), "--log", str(new.path)).returncode == 0


def test_an_import_on_a_full_disk_adds_nothing_to_the_log_that_is_there(tmp_path: Path) -> None:
    log = Log(tmp_path / "shop.duckdb")
    log.create(timezone="Europe/London")
    sample = str(ROOT / "sample_data")
    told(qclog("import", sample, "--log", str(log.path), room=1_000_000), "no room left on the disk")
    report = verify(log)
    assert (report.sound, report.entries, report.readings) == (True, 0, 0)
    assert qclog("import", sample, "--log", str(log.path)).returncode == 0


def test_an_export_or_a_picture_on_a_full_disk_leaves_nothing_half_written(log: Log, tmp_path: Path) -> None:
    assert qclog(*READ, "--log", str(log.path)).returncode == 0
    out = tmp_path / "out"
    told(qclog("export", str(out), "--log", str(log.path), room=100), "can't be written")
    assert not [f for f in tmp_path.iterdir() if "out" in f.name]
    picture = tmp_path / "chart.svg"
    told(
        qclog("chart", "MR-1", "trial_pack", "--out", str(picture), "--log", str(log.path), room=1000),
        "can't be written",
    )
    assert not [f for f in tmp_path.iterdir() if "chart" in f.name]
    assert qclog("export", str(out), "--log", str(log.path)).returncode == 0


def test_where_nothing_may_be_made(log: Log, tmp_path: Path) -> None:
    """/proc is a folder in which even root makes nothing; under a file nobody can."""
    under_a_file = tmp_path / "file"
    under_a_file.write_text("")
    for place in (Path("/proc"), under_a_file):
        told(qclog("init", "--log", str(place / "x.duckdb")), "beside the log" if place == Path("/proc") else "log")
        told(qclog("export", str(place / "out"), "--log", str(log.path)), "can't be written")
        told(qclog("chart", "MR-1", "trial_pack", "--out", str(place / "x.png"), "--log", str(log.path)), "can't be")


@pytest.fixture
def shut(log: Log) -> Iterator[Log]:
    """A log that was used before its folder was shut: it may be read and not written."""
    assert verify(log).sound
    log.path.parent.chmod(0o500)
    yield log
    log.path.parent.chmod(0o700)


@pytest.mark.parametrize("command", [READ, ("person", "add", "Zed"), ("job", "open", "J-2", "MR-1")])
def test_a_folder_shut_to_writing_can_be_read(shut: Log, command: tuple[str, ...]) -> None:
    told(qclog(*command, "--log", str(shut.path)), "may not be written: Permission denied", "nothing of this step")
    assert qclog("job", "list", "--log", str(shut.path)).stdout.count("J-1") == 1
    assert verify(shut).readings == 0


def test_a_shut_folder_takes_no_new_log(shut: Log) -> None:
    new = shut.path.with_name("new.duckdb")
    told(qclog("init", "--log", str(new)), "Permission denied", "keep the log in a folder you may write to")
    told(qclog("demo", "--no-dashboard", "--log", str(new)), "Permission denied")
    assert not new.exists()


def stopped_import(log: Log, folder: Path, how: signal.Signals, after: float) -> tuple[int, str]:
    """An import of `folder`, at a terminal, that is sent `how` so many seconds after its first word; status, words."""
    ours, its = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "qclog", "import", str(folder), "--log", str(log.path)],
        stdout=its,
        stderr=its,
        # CI may run us with Ctrl-C ignored, which a child would inherit.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - one call, no threads yet
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    os.close(its)
    said = b""
    while b"reading " not in said:
        said += os.read(ours, 4096)
    time.sleep(after)
    child.send_signal(how)
    with suppress(OSError):  # EIO: the child has closed its end
        while more := os.read(ours, 4096):
            said += more
    os.close(ours)
    return child.wait(timeout=120), said.decode()


@pytest.fixture
def large(folder: Path) -> Path:
    """A folder whose import takes a second or so."""
    lines = (
        f"J-1,stand_off,trial,{(12, 3, 6, 9)[i % 4]},{i // 4 + 1},{15 + i % 3},,FG-1,Ash,2026-01-05T09:00,,,\n"
        for i in range(200_000)
    )
    with (folder / "readings.csv").open("a") as file:
        file.writelines(lines)
    return folder


INTERRUPTED = """
import os, runpy, signal, sys

class Interrupting:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            os.kill(os.getpid(), signal.SIGINT)

sys.meta_path.insert(0, Interrupting())
sys.argv = ["qclog", "job", "list", "--log", "none.duckdb"]
runpy.run_module("qclog", run_name="__main__")
"""


@pytest.mark.parametrize("module", ["qclog.cli.stopping", "argparse", "qclog.cli.trace", "duckdb"])
def test_ctrl_c_while_something_is_being_loaded_ends_it_quietly(module: str) -> None:
    """Status 130 and no traceback, whenever it comes."""
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED.format(module=module)],
        check=False,
        capture_output=True,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 130, done
    assert "Traceback" not in done.stderr, done.stderr


@pytest.mark.parametrize("after", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_an_import_that_is_stopped_is_all_there_or_not_at_all(
    tmp_path: Path, large: Path, how: signal.Signals, after: float
) -> None:
    """Whenever it is stopped: no traceback, a log that is sound, and the same import again makes it whole."""
    log = Log(tmp_path / "new.duckdb")
    status, said = stopped_import(log, large, how, after)
    if how == signal.SIGINT:
        assert status in (0, 130), said
        assert "Traceback" not in said
    if log.exists():
        report = verify(log)
        assert report.sound
        assert report.readings in (0, 200_005)
    assert qclog("import", str(large), "--log", str(log.path)).returncode == 0
    assert verify(log).readings == 200_005
