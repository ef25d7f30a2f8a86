"""Reads the data tables beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
HERE = Path(__file__).parent


def table(name: str) -> dict[str, Array]:
    """Columns of a table by name."""
    lines = (HERE / f"{name}.csv").read_text().split()
    rows = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return dict(zip(lines[0].split(","), rows.T, strict=True))


def with_ones(*columns: Array) -> Array:
    """Model matrix with a column of ones first."""
    return np.column_stack([np.ones(len(columns[0])), *columns])
