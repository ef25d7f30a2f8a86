"""Every table of the page as a CSV file, in the page's own numbers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from meltdoe.report.page_blocks import Block, TableBlock

__all__ = ["table_files"]

_NUMBER = re.compile(r"Table (\d+)\. ")
_FORMULA = ("=", "@", "\t", "\r")  # what makes a spreadsheet take a cell for a formula; a sign before a number does not
_SIGNED = re.compile(r"[+-](?!\s*[\d.])")


def table_files(blocks: Sequence[Block]) -> dict[str, str]:
    """``tables/NN-CAPTION.csv`` (UTF-8 with a byte order mark, so that spreadsheets read it) to content."""
    files = {}
    for table in (block for block in blocks if isinstance(block, TableBlock)):
        match = _NUMBER.match(table.caption)
        number, caption = (int(match[1]), table.caption[match.end() :]) if match else (0, table.caption)
        words = re.sub(r"[^a-z0-9]+", "-", caption.lower()).strip("-")[:60].rstrip("-")
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerows([_inert(cell) for cell in row] for row in (table.columns, *table.rows))
        files[f"tables/{number:02d}-{words or 'table'}.csv"] = f"\ufeff{out.getvalue()}"
    return files


def _inert(cell: str) -> str:
    """A cell that no spreadsheet runs as a formula."""
    return f"'{cell}" if cell.startswith(_FORMULA) or _SIGNED.match(cell) else cell
