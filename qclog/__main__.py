"""`python -m qclog` and the `qclog` command: from the first moment on, Ctrl-C ends it with status 130."""

import sys


def main() -> int:
    """Run one command; its exit status, also where Ctrl-C comes while it is still being loaded or already done."""
    from qclog.cli.stopping import say_stopped, stop_listening

    try:
        from qclog.cli import main as run

        status = run()
    except KeyboardInterrupt:
        status = say_stopped()
    stop_listening()
    return status


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:  # before anything of ours was loaded
        sys.exit(130)
