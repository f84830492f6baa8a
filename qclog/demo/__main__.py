"""`python -m qclog.demo FOLDER`: write the sample workshop as an exchange folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from qclog.demo import build_workshop, write_folder
from qclog.demo.stories import SEED


def main() -> None:
    """Write the folder and say what is in it."""
    parser = argparse.ArgumentParser(prog="python -m qclog.demo", description="Write the sample workshop to a folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SEED, help=f"default {SEED}")
    arguments = parser.parse_args()
    workshop = build_workshop(arguments.seed)
    write_folder(workshop, arguments.folder)
    counts = ", ".join(f"{len(rows):,} {table.replace('_', ' ')}" for table, rows in workshop.tables)
    print(f"{arguments.folder}: {counts}")


if __name__ == "__main__":
    main()
