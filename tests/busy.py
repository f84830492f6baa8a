"""Another process that takes the log in the very moment after something was stored."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from qclog.store import chain, lock

HOLDER = """\
import sys, filelock
with filelock.FileLock(sys.argv[1]):
    print("held", flush=True)
    sys.stdin.read()
"""


class Another:
    """A process that has the log from the next entry stored until it lets it go."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.patch = patch
        self.process: subprocess.Popen[str] | None = None
        self.stored = False

    @property
    def has_it(self) -> bool:
        """Whether something was stored, so that the log was taken."""
        return self.process is not None

    def wait_for_an_entry(self) -> None:
        """Take the log when it is next let go after an entry was written to it."""
        adding, holding = chain.add, lock.holding

        def add(*arguments: object) -> None:
            adding(*arguments)  # type: ignore[arg-type] # as it was called
            self.stored = True

        @contextmanager
        def watched(path: Path, *rest: object) -> Iterator[None]:
            with holding(path, *rest):  # type: ignore[arg-type] # as it was called
                yield
            if self.stored and self.process is None:
                command = [sys.executable, "-c", HOLDER, f"{path}.lock"]
                self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
                assert self.process.stdout is not None
                assert self.process.stdout.readline() == "held\n"

        self.patch.setattr(chain, "add", add)
        self.patch.setattr(lock, "holding", watched)

    def let_go(self) -> None:
        """Let go of the log."""
        if self.process is not None:
            self.process.communicate()


@contextmanager
def another_process() -> Iterator[Another]:
    """A process that is about to take the log; no patience with it inside."""
    with pytest.MonkeyPatch.context() as patch:
        process = Another(patch)
        try:
            yield process
        finally:
            process.let_go()
