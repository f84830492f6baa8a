"""`python -m qclog` is the same as the `qclog` command."""

import sys

from qclog.cli import main

if __name__ == "__main__":
    sys.exit(main())
