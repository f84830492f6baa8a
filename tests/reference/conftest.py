"""Published data sets, read from tests/data/published; each has its source beside it in NAME.source.txt."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

Floats = npt.NDArray[np.float64]
Columns = dict[str, Floats]
Published = Callable[[str], Columns]
"""Reads the columns of a published data set."""

PUBLISHED = Path(__file__).parent.parent / "data" / "published"


def read_columns(name: str) -> Columns:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {column: np.array([float(row[column]) for row in rows]) for column in rows[0]}


def split_groups(labels: Floats, values: Floats) -> list[Floats]:
    return [values[labels == label] for label in dict.fromkeys(labels.tolist())]


@pytest.fixture(scope="session")
def published() -> Published:
    """Columns of a published data set by name."""
    return read_columns


@pytest.fixture(scope="session")
def gear() -> list[Floats]:
    """100 gear diameters in 10 batches of 10: NIST e-Handbook 1.3.5.7."""
    columns = read_columns("nist_gear_diameter")
    return split_groups(columns["batch"], columns["diameter"])
