"""Starting the dashboard: this process becomes Streamlit, so that stopping it leaves no server behind."""

from __future__ import annotations

import ipaddress
import os
import socket
import subprocess
import sys
from typing import NoReturn

from qclog import resources
from qclog.errors import InputError
from qclog.services import signing_on
from qclog.store.log import Log

LOG_VARIABLE = "QCLOG_LOG"
SIGN_ON_VARIABLE = "QCLOG_SIGN_ON"  # set for the pages when the network is let in


def launch(log: Log, *, address: str, port: int, browser: bool) -> NoReturn:
    """Become `streamlit run` of the packaged pages on `log`.

    InputError if the port is taken, or if `address` lets the network in and somebody has no PIN.
    """
    if not _is_this_machine(address):
        signing_on.need_pins(log)
        os.environ[SIGN_ON_VARIABLE] = "1"
    _need_free(address, port)
    folder = resources.folder("dashboards")
    os.environ[LOG_VARIABLE] = str(log.path.resolve())
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(folder / "app.py"),
        f"--server.address={address}",
        f"--server.port={port}",
        f"--server.headless={'false' if browser else 'true'}",
        "--browser.gatherUsageStats=false",
    ]
    os.chdir(folder)  # Streamlit reads .streamlit/config.toml from the folder it is started in
    if os.name == "nt":  # exec on Windows starts a second process and returns at once
        sys.exit(subprocess.call(command))  # noqa: S603 - our own command
    os.execv(command[0], command)  # noqa: S606 - our own command


def _is_this_machine(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def _need_free(address: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as error:
            raise InputError(
                f"the dashboard can't use that address and port: {error.strerror or error}",
                field="port",
                found=f"{address}:{port}",
                hint="another may be running; choose another with --port",
            ) from error
