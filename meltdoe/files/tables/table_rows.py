"""A table from its rows, wherever they were read: which rows hold the headings, and what stands under each.

The table of a spreadsheet often begins with a title, has a line of groups over its headings (cells merged over several
columns) or a line of units under them. For a table from elsewhere these lines are found by the headings that are
known, and are read together: "Settings" over "flux" over "wt%" is the heading "flux (wt%)".
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.log.numbers import DecimalMark, decimal_mark, shortened
from meltdoe.units import canonical, dimension

__all__ = [
    "MOST_COLUMNS", "MOST_ROWS", "Table", "TableRow", "headed", "known_headings", "loose", "table_of", "too_large",
]  # fmt: skip

MOST_ROWS = 20_000
MOST_COLUMNS = 300
_MOST_LINES_ABOVE = 10
_BRACKET = re.compile(r"[(\[]")


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: the line of the file where it begins, from 1, and one text per heading."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table as it was read.

    Parameters
    ----------
    file : name of the file as the user knows it, with the sheet where it has several.
    heading_line : line of the headings.
    separator : what stood between the cells; empty for the cells of a spreadsheet, which are written with a point.
    """

    file: str
    headings: tuple[str, ...]
    heading_line: int
    rows: tuple[TableRow, ...]
    separator: str = ","

    def decimal(self, cells: Sequence[str]) -> DecimalMark | None:
        """The decimal mark that cells with numbers show; a point in a table of commas without a comma in them."""
        if self.separator in (",", "") and not any("," in cell for cell in cells):
            return "."
        return decimal_mark(cells)


def loose(text: str) -> str:
    """A heading without capitals, underscores and stray spaces."""
    return " ".join(text.replace("_", " ").casefold().split())


def too_large(file: str, line: int | None) -> ProblemsFound:
    """The problem of a table with too many rows, columns or letters in a cell."""
    what = f"is too large (at most {MOST_ROWS} rows, {MOST_COLUMNS} columns, 20000 characters a cell)"
    marks = "" if ".xlsx" in file.lower() else ", and see that every quotation mark is closed"
    return ProblemsFound.single(file, line, what, f"keep only what is needed{marks}")


def table_of(rows: Sequence[TableRow], file: str, separator: str = "") -> Table:
    """The table whose first row holds the headings.

    Raises
    ------
    ProblemsFound
        Where there is no row, a heading stands twice, or a cell has no heading.
    """
    if not rows:
        raise ProblemsFound.single(file, None, "is empty", "write a first line with the headings of the columns")
    head = TableRow(rows[0].line, tuple(" ".join(heading.split()) for heading in rows[0].cells))
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for place, heading in enumerate(head.cells):
        if not heading:
            if any(len(row.cells) > place and row.cells[place] for row in rows[1:]):
                problems.append(Problem(file, head.line, f"column {place + 1} has no heading", "write its heading"))
            continue
        if loose(heading) in seen:
            problems.append(
                Problem(
                    file,
                    head.line,
                    f'the heading "{shortened(heading)}" stands twice',
                    "rename or remove one of the columns",
                )
            )
        seen.setdefault(loose(heading), place)
    extra = f'put a text or number that contains "{separator}" in quotation marks, or ' if separator else ""
    problems += [
        Problem(
            file,
            row.line,
            f"has {len(row.cells)} cells under {len(head.cells)} headings",
            f"{extra}remove the extra cells",
        )
        for row in rows[1:]
        if len(row.cells) > len(head.cells)
    ]
    if problems:
        raise ProblemsFound(problems)
    places = [place for place, heading in enumerate(head.cells) if heading]
    padded = (row.cells + ("",) * (len(head.cells) - len(row.cells)) for row in rows[1:])
    return Table(
        file,
        tuple(head.cells[place] for place in places),
        head.line,
        tuple(
            TableRow(row.line, tuple(cells[place] for place in places))
            for row, cells in zip(rows[1:], padded, strict=True)
        ),
        separator,
    )


def known_headings(cells: Sequence[str], known: Collection[str]) -> int:
    """How many of the cells are known headings, with or without a unit in brackets."""
    names = {loose(name) for name in known}
    return sum(bool(cell) and not names.isdisjoint({loose(cell), loose(_BRACKET.split(cell)[0])}) for cell in cells)


def headed(rows: Sequence[TableRow], known: Collection[str]) -> list[TableRow]:
    """The rows from the headings on: lines above left out, groups above and units below taken into the headings.

    A line other than the first counts as the headings only where it holds two known ones or more, and more than the
    first line does.
    """
    if not rows:
        return []
    above = rows[:_MOST_LINES_ABOVE]
    scores = [known_headings(row.cells, known) for row in above]
    pairs = [known_headings(_filled(*both), known) for both in _pairs(above)]
    place = scores.index(max(scores)) if max(scores) >= 2 else 0
    grouped = max(pairs, default=0) > max(2, *scores)
    if grouped:
        place = 1 + pairs.index(max(pairs))
    head = rows[place]
    cells = head.cells
    body = place + 1
    if grouped or (place and _needs_groups(rows[place - 1].cells, cells, rows[body:])):
        cells = _under_groups(rows[place - 1].cells, cells)
    if len(rows) > body and _is_unit_line(rows[body].cells):
        units = [cell.strip("()[] ") for cell in rows[body].cells] + [""] * len(cells)
        cells = tuple(f"{cell} ({unit})" if cell and unit else cell for cell, unit in zip(cells, units, strict=False))
        body += 1
    return [TableRow(head.line, cells), *rows[body:]]


def _pairs(rows: Sequence[TableRow]) -> list[tuple[Sequence[str], Sequence[str]]]:
    """Each line with the one below it; a line with a number in it is no line of headings and counts as blank."""
    below = [() if any(map(_is_number, row.cells)) else row.cells for row in rows]
    return [(upper.cells, lower) for upper, lower in zip(rows, below[1:], strict=False)]


def _is_number(cell: str) -> bool:
    return cell.lstrip("+-").replace(".", "").replace(",", "").isdigit()


def _filled(groups: Sequence[str], cells: Sequence[str]) -> list[str]:
    """The lower line, its blanks filled from the upper one; nothing where the lower line is blank."""
    return [cell or group for group, cell in zip_longest(groups, cells, fillvalue="")] if any(cells) else []


def _needs_groups(groups: Sequence[str], cells: Sequence[str], body: Sequence[TableRow]) -> bool:
    """Whether the line above is needed: a heading stands twice, or is missing over cells that are filled in."""
    doubled = any(count > 1 for heading, count in Counter(map(loose, cells)).items() if heading)
    width = max((len(row.cells) for row in body), default=0)
    missing = any(i >= len(cells) or not cells[i] for i in range(min(width, len(groups))))
    return len([group for group in groups if group]) > 1 and (doubled or missing)


def _under_groups(groups: Sequence[str], cells: Sequence[str]) -> tuple[str, ...]:
    """Headings that stand twice with their group in front; a blank one is that above it, as of a merged cell."""
    count = Counter(map(loose, cells))
    names = []
    group = ""
    for own, cell in zip_longest(groups, cells, fillvalue=""):
        group = own or group
        names.append(own if not cell else f"{group} {cell}".strip() if count[loose(cell)] > 1 else cell)
    return tuple(names)


def _is_unit_line(cells: Sequence[str]) -> bool:
    """Whether every cell that is filled in is a unit, bare or in brackets."""
    words = [cell.strip("()[] ") for cell in cells if cell]
    return any(map(_is_unit, words)) and all(_is_unit(word) or word in ("-", "–") for word in words)


def _is_unit(word: str) -> bool:
    return (word.endswith("%") and not any(map(str.isdigit, word))) or dimension(canonical(word)) is not None
