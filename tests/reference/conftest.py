"""Published data sets, read from tests/data/published; each has its source beside it in NAME.source.txt."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

PUBLISHED = Path(__file__).parent.parent / "data" / "published"


def read_columns(name: str) -> dict[str, np.ndarray]:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {column: np.array([float(row[column]) for row in rows]) for column in rows[0]}


def split_groups(labels: np.ndarray, values: np.ndarray) -> list[np.ndarray]:
    return [values[labels == label] for label in dict.fromkeys(labels.tolist())]


@pytest.fixture(scope="session")
def published() -> Callable[[str], dict[str, np.ndarray]]:
    """Columns of a published data set by name."""
    return read_columns


@pytest.fixture(scope="session")
def gear() -> list[np.ndarray]:
    """100 gear diameters in 10 batches of 10: NIST e-Handbook 1.3.5.7."""
    columns = read_columns("nist_gear_diameter")
    return split_groups(columns["batch"], columns["diameter"])
