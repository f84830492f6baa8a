"""Runs a command that opens the dashboard, at a terminal of its own and with an empty home, as a new account would.

    python3 .ci/at_a_terminal.py PORT 'qclog demo' [FILE]

It must come as far as serving the page at PORT (and FILE must appear) with nothing typed, leave nothing of Streamlit's
in the home, and end by Ctrl-C with status 0. Prints what the terminal showed; exit status 1 where it is otherwise.
"""

import fcntl
import os
import pty
import subprocess
import sys
import tempfile
import termios
import threading
import time
import urllib.request
from pathlib import Path

PATIENCE = 900  # seconds; the command may install everything first


def main(port: str, command: str, file: str | None = None) -> int:
    """Run the command; the exit status."""
    with tempfile.TemporaryDirectory() as home:
        here, there = pty.openpty()
        process = subprocess.Popen(
            ["bash", "-c", command],
            stdin=there,
            stdout=there,
            stderr=there,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
            env=os.environ | {"HOME": home},
        )
        os.close(there)
        shown: list[bytes] = []
        reader = threading.Thread(target=read_all, args=(here, shown))
        reader.start()
        served = wait_for_page(port, process, file)
        if process.poll() is None:
            os.write(here, b"\x03")
        ended = wait_for_end(process)
        reader.join()
        left = [file.name for file in Path(home).iterdir() if "streamlit" in file.name]
    text = b"".join(shown).decode(errors="replace").replace("\r\n", "\n")
    print(text)
    faults = [] if served else ["the page was not served"]
    faults += ["something was asked"] if "mail" in text.lower() else []
    faults += [f"it ended with status {ended}"] if ended != 0 else []
    faults += [f"left in the home: {left}"] if left else []
    for fault in faults:
        print(f"at a terminal: {fault}", file=sys.stderr)
    return 1 if faults else 0


def read_all(terminal: int, shown: list[bytes]) -> None:
    """Everything the terminal shows, until its last program has ended."""
    try:
        while part := os.read(terminal, 4096):
            shown.append(part)
    except OSError:  # how Linux says that nobody has the other end open
        return


def wait_for_page(port: str, process: "subprocess.Popen[bytes]", file: str | None) -> bool:
    """Whether the page came, and the file if one is named."""
    until = time.monotonic() + PATIENCE
    while process.poll() is None and time.monotonic() < until:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                answer.read()
        except OSError:
            served = False
        else:
            served = answer.status == 200
        if served and (file is None or Path(file).is_file()):
            return True
        time.sleep(0.2)
    return False


def wait_for_end(process: "subprocess.Popen[bytes]") -> int:
    """The exit status; killed where it does not end."""
    try:
        return process.wait(60)
    except subprocess.TimeoutExpired:
        process.kill()
        return process.wait()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
