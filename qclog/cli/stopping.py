"""Ctrl-C: once is enough, and it ends a wait for typing."""

from __future__ import annotations

import os
import select
import signal
import sys
from types import FrameType

_LOOK_AGAIN_SECONDS = 0.2


def stop_once() -> None:
    """From now on a Ctrl-C that arrives while one is being obeyed is ignored.

    polars raises KeyboardInterrupt itself and lets Python raise it again a moment later, in the midst of the clean-up.
    """
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _stop)


def stop_listening() -> None:
    """Once we are stopping, or done, another Ctrl-C changes nothing."""
    if signal.getsignal(signal.SIGINT) in (_stop, signal.default_int_handler):
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def say_stopped() -> int:
    """Say that the command was stopped; its exit status."""
    stop_listening()
    print("\nqclog: stopped; everything acknowledged so far is stored", file=sys.stderr)
    return 130


def _stop(signal_number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - what a handler is called with
    if not isinstance(sys.exc_info()[1], KeyboardInterrupt):
        raise KeyboardInterrupt


def ask(prompt: str) -> str | None:
    """What is typed after `prompt`, without space round it; None at the end of the input.

    Waits at a terminal in short steps: polars sets Ctrl-C up so that it no longer ends a wait for typing.
    """
    print(prompt, end="", flush=True)
    try:
        if os.name == "posix" and sys.stdin.isatty():
            while not select.select([sys.stdin], [], [], _LOOK_AGAIN_SECONDS)[0]:
                continue
        return input().strip()
    except EOFError:
        print()
        return None
