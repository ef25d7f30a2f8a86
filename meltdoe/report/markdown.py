"""The page as Markdown (CommonMark with pipe tables): to paste into other documents."""

from __future__ import annotations

import re
from collections.abc import Sequence

from meltdoe.report.page_blocks import Block, Code, FigureBlock, Heading, Item, Paragraph, TableBlock

__all__ = ["markdown_text"]

# What could begin or end markup anywhere in a line; a backslash before it makes it a letter.
_SIGNS = re.compile(r"([\\`*_\[\]<>|~$&])")
_AT_START = re.compile(r"^(\s*)([#+=-]|\d+(?=[.)]))")


def markdown_text(blocks: Sequence[Block]) -> str:
    """The blocks of a page; figures stand as links to their SVG files beside it."""
    parts: list[str] = []
    counted = 0
    for i, block in enumerate(blocks):
        counted = counted + 1 if isinstance(block, Item) else 0
        in_list = isinstance(block, Item) and i > 0 and isinstance(blocks[i - 1], Item)
        parts.append(("" if in_list or not parts else "\n") + _block(block, counted))
    return "\n".join(parts) + "\n"


def _block(block: Block, counted: int) -> str:
    match block:
        case Heading(level, text):
            return f"{'#' * level} {_signs(text)}"
        case Paragraph(text, note):
            return f"*{_plain(text)}*" if note else _plain(text)
        case Item(text, numbered):
            return f"{f'{counted}.' if numbered else '-'} {_plain(text)}"
        case Code(text):
            fence = "`" * max(3, 1 + max((len(run) for run in re.findall("`+", text)), default=0))
            return f"{fence}\n{text}\n{fence}"
        case FigureBlock(name, alt, caption):
            return f"![{_plain(alt)}](figures/{name}.svg)\n\n*{_plain(caption)}*"
        case TableBlock():
            return _table(block)


def _table(table: TableBlock) -> str:
    rows = [table.columns, ("---",) * len(table.columns), *table.rows]
    lines = [f"| {' | '.join(cell if i == 1 else _signs(cell) for cell in row)} |" for i, row in enumerate(rows)]
    return "\n".join([f"**{_plain(table.caption)}**", "", *lines])


def _signs(text: str) -> str:
    return _SIGNS.sub(r"\\\1", text)


def _plain(text: str) -> str:
    escaped = _signs(text)
    if match := _AT_START.match(escaped):
        digits = match[2].isdigit()
        at = match.end() if digits else match.start(2)
        return f"{escaped[:at]}\\{escaped[at:]}"
    return escaped
