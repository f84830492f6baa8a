"""`qclog demo`, `qclog dashboard`: the sample workshop, and the pages."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from qclog.cli import options


def add_to(commands: Any) -> None:
    """Add the commands."""
    demo = commands.add_parser("demo", help="build the sample workshop in a new log and open the dashboard")
    demo.add_argument("--log", metavar="FILE", default="demo.duckdb", help="where (default: demo.duckdb)")
    demo.add_argument("--no-dashboard", action="store_true", help="build and tour it at the terminal only")
    _add_address(demo)
    demo.set_defaults(run=run_demo)
    pages = commands.add_parser("dashboard", help="open the pages in a browser")
    options.add_log(pages)
    _add_address(pages)
    pages.set_defaults(run=run_dashboard)


def _add_address(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=8501, help="default 8501")
    parser.add_argument(
        "--address",
        default="127.0.0.1",
        help="default 127.0.0.1, this machine only; anything else lets the network in: everyone needs a PIN first, and"
        " a proxy that speaks TLS belongs in front (see the README)",
    )
    parser.add_argument(
        "--host-name",
        action="append",
        default=[],
        metavar="NAME",
        help="a name in the address bar beside localhost and plain addresses, such as that of a proxy; may be repeated",
    )
    parser.add_argument(
        "--sign-on",
        action="store_true",
        help="show nothing before someone signs on with a PIN, also on this machine: for a proxy on the same machine",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser window")


def run_demo(arguments: argparse.Namespace) -> int:
    """Build the sample workshop, show the main job, open the dashboard."""
    from qclog.services.exchange import tour
    from qclog.store.log import Log

    log = Log(Path(arguments.log))
    for line in tour.build(log):
        print(line, flush=True)
    if arguments.no_dashboard:
        return 0
    return _open(log, arguments)


def run_dashboard(arguments: argparse.Namespace) -> int:
    """Open the pages on a log."""
    log = options.log_of(arguments)
    log.check()
    return _open(log, arguments)


def _open(log: Any, arguments: argparse.Namespace) -> int:
    from qclog.services.keeping.launching import launch, page_address

    print(f"The dashboard is at {page_address(arguments.address, arguments.port)} (Ctrl-C stops it)", flush=True)
    launch(
        log,
        address=arguments.address,
        port=arguments.port,
        browser=not arguments.no_browser,
        host_names=arguments.host_name,
        sign_on=arguments.sign_on,
    )
    return 0
