"""Starts the pages: `qclog dashboard` becomes this program."""

import sys
from pathlib import Path

from qclog.web.serving import serve

if __name__ == "__main__":
    sys.exit(serve(Path(__file__).with_name("app.py"), sys.argv[1:]))
