"""The page taken apart into blocks, from which other documents are made: whatever they say, the page says too.

Only pages of `meltdoe.report.html` are read, so the reader knows no more of HTML than they use.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import TypeAlias

__all__ = ["Block", "Code", "FigureBlock", "Heading", "Item", "Paragraph", "TableBlock", "page_blocks"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 is the title."""

    level: int
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text. `note` marks what stands below a table, in smaller letters."""

    text: str
    note: bool = False


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a list."""

    text: str
    numbered: bool


@dataclass(frozen=True, slots=True)
class Code:
    """Text to be kept as it is, line by line."""

    text: str


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table: its caption with its number, the headings, and the rows."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """A figure by the name of its files, with its text for those who cannot see it, and its caption with its number."""

    name: str
    alt: str
    caption: str


Block: TypeAlias = Heading | Paragraph | Item | Code | TableBlock | FigureBlock

_LEFT_OUT = frozenset({"head", "nav", "script", "noscript"})
_HEADINGS = {"h1": 1, "h2": 2, "h3": 3}


def page_blocks(page: str) -> tuple[Block, ...]:
    """Everything that can be read on a page, in its order; the panel that needs a screen is left out."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    return tuple(reader.blocks)


@dataclass
class _Table:
    caption: str = ""
    columns: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[Block] = []
        self.words: list[str] = []
        self.lists: list[str] = []
        self.table: _Table | None = None
        self.figure: str | None = None
        self.alt = ""
        self.note = False
        self.skipped: str | None = None
        self.depth = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self.skipped is not None:
            self.depth += tag == self.skipped
            return
        given = dict(attrs)
        if (
            tag in _LEFT_OUT
            or (tag == "section" and given.get("aria-labelledby") == "try")
            or "printed" in _classes(given)
        ):
            self.skipped, self.depth = tag, 1
        elif tag in (*_HEADINGS, "p", "li", "pre", "th", "td", "caption", "figcaption", "title"):
            self.words = []
            self.note = "note" in _classes(given)
        elif tag in ("ul", "ol"):
            self.lists.append(tag)
        elif tag == "table":
            self.table = _Table()
        elif tag == "tr" and self.table is not None:
            self.table.rows.append([])
        elif tag == "figure":
            self.figure = given.get("data-name") or ""

    def handle_endtag(self, tag: str) -> None:
        if self.skipped is not None:
            self.depth -= tag == self.skipped
            if not self.depth:
                self.skipped = None
            return
        if tag == "pre":
            self.blocks.append(Code("".join(self.words).strip("\n")))
            return
        text = " ".join("".join(self.words).split())
        if tag in _HEADINGS:
            self.blocks.append(Heading(_HEADINGS[tag], text))
        elif tag == "title" and self.figure is not None:
            self.alt = text
        elif tag == "figcaption":
            self.blocks.append(FigureBlock(self.figure or "", self.alt, text))
            self.figure = None
        elif tag == "p" and text:
            self.blocks.append(Paragraph(text, self.note))
        elif tag == "li":
            self.blocks.append(Item(text, self.lists[-1] == "ol"))
        elif tag in ("ul", "ol"):
            self.lists.pop()
        elif self.table is not None:
            self._table_part(tag, text)

    def _table_part(self, tag: str, text: str) -> None:
        assert self.table is not None
        if tag == "caption":
            self.table.caption = text
        elif tag in ("th", "td"):
            self.table.rows[-1].append(text)
        elif tag == "thead":
            self.table.columns = self.table.rows.pop()
        elif tag == "table":
            rows = tuple(map(tuple, self.table.rows))
            self.blocks.append(TableBlock(self.table.caption, tuple(self.table.columns), rows))
            self.table = None

    def handle_data(self, data: str) -> None:
        if self.skipped is None:
            self.words.append(data)


def _classes(given: dict[str, str | None]) -> list[str]:
    return (given.get("class") or "").split()
