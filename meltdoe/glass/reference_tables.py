"""The tables of `meltdoe/glass/data`, read when first asked for and kept.

Every row says where its numbers come from (`source`, `how_obtained`); the same words reach the report.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

__all__ = ["Row", "number", "table"]

Row = Mapping[str, str]


@cache
def table(name: str) -> tuple[Row, ...]:
    """Rows of ``data/<name>.csv`` in the order of the file, as text by column name."""
    text = files("meltdoe.glass").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


def number(row: Row, column: str, blank: float = 0.0) -> float:
    """A cell as a number; `blank` where the cell is empty."""
    return float(row[column]) if row[column] else blank
