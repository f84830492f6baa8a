"""Starting the dashboard: this process becomes the server, so that stopping it leaves none behind."""

from __future__ import annotations

import ipaddress
import os
import re
import socket
import subprocess
import sys
from collections.abc import Sequence
from typing import NoReturn

from qclog import resources
from qclog.errors import InputError
from qclog.services.keeping import signing_on
from qclog.store.log import Log

LOG_VARIABLE = "QCLOG_LOG"
SIGN_ON_VARIABLE = "QCLOG_SIGN_ON"  # set for the pages when the network is let in


def launch(
    log: Log, *, address: str, port: int, browser: bool, host_names: Sequence[str] = (), sign_on: bool = False
) -> NoReturn:
    """Become the server of the packaged pages on `log`.

    InputError if the port is taken, or if people must sign on and somebody has no PIN: they must where `sign_on` says
    so, or `address` lets the network in. `host_names` are those under which the pages are reached, beside this
    machine's addresses.
    """
    for name in host_names:
        _check_host_name(name)
    if sign_on or not _is_this_machine(address):
        signing_on.need_pins(log)
        os.environ[SIGN_ON_VARIABLE] = "1"
    _need_free(address, port)
    folder = resources.folder("dashboards")
    os.environ[LOG_VARIABLE] = str(log.path.resolve())
    command = [sys.executable, str(folder / "serve.py"), f"--address={address}", f"--port={port}"]
    command += [f"--host-name={name}" for name in host_names]
    command += ["--browser"] if browser else []
    os.chdir(folder)  # Streamlit reads .streamlit/config.toml from the folder it is started in
    if os.name == "nt":  # exec on Windows starts a second process and returns at once
        sys.exit(subprocess.call(command))  # noqa: S603 - our own command
    os.execv(command[0], command)  # noqa: S606 - our own command


def page_address(address: str, port: int) -> str:
    """The URL at which this machine reaches the pages."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return f"http://{address}:{port}"
    if found.is_unspecified:
        return f"http://localhost:{port}"
    return f"http://[{found}]:{port}" if found.version == 6 else f"http://{found}:{port}"


def _check_host_name(name: str) -> None:
    if not re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,250}[A-Za-z0-9])?", name):
        raise InputError(
            "that is no name of a host", field="host-name", found=name, hint="as in the address bar: qclog.example.org"
        )


def _is_this_machine(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def _need_free(address: str, port: int) -> None:
    with socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET) as probe:
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
