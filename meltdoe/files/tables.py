"""CSV tables, as spreadsheets of any country write them and as this program writes them.

Read: comma, semicolon, tab or bar between cells; UTF-8 with or without a mark, UTF-16, Windows-1252; quoted text over
several lines; stray spaces; empty rows and columns at the end. Written: plain UTF-8 with commas and decimal points. A
text that a spreadsheet would run as a formula gets an apostrophe in front, which reading takes away again.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.log.cell_words import text_cell
from meltdoe.log.column_match import nearest
from meltdoe.log.numbers import DecimalMark, decimal_mark

__all__ = ["Table", "TableRow", "named_columns", "parse_table", "read_bytes", "read_if_there", "table_text"]

_SEPARATORS = (";", "\t", "|", ",")
_MOST_BYTES = 5_000_000
_MOST_ROWS = 20_000
_MOST_COLUMNS = 300
_LONGEST_CELL = 20_000
_SAMPLE_LINES = 40
_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_MARKED = re.compile(r"'+[=+\-@\t\r]")
_TOLD_SEPARATOR = re.compile(r'"?sep=(.)"?\r?\n', re.IGNORECASE)
_SAVE_AS = "save it from the spreadsheet as CSV (UTF-8)"


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
    file : name of the file as the user knows it.
    heading_line : line of the headings.
    """

    file: str
    headings: tuple[str, ...]
    heading_line: int
    rows: tuple[TableRow, ...]
    separator: str = ","
    encoding: str = "utf-8"

    def decimal(self, cells: Sequence[str]) -> DecimalMark | None:
        """The decimal mark that cells with numbers show; a point in a table of commas without a comma in them."""
        if self.separator == "," and not any("," in cell for cell in cells):
            return "."
        return decimal_mark(cells)


def read_if_there(path: Path) -> bytes | None:
    """The content of a table's file, or None where there is no such file.

    Raises
    ------
    ProblemsFound
        Where it cannot be read or is too large.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise ProblemsFound.single(path.name, None, "is larger than 5 MB", "keep only the rows that are needed")
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise ProblemsFound.single(
            path.name, None, f"cannot be read ({error.strerror or error})", "make it a readable file"
        ) from error


def read_bytes(path: Path) -> bytes:
    """The content of a table's file; raises ProblemsFound where it does not exist, too."""
    content = read_if_there(path)
    if content is None:
        raise ProblemsFound.single(path.name, None, "does not exist", "check the name and the folder")
    return content


def _decoded(content: bytes, file: str) -> tuple[str, str]:
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise ProblemsFound.single(file, None, "is a spreadsheet's own format and not CSV", _SAVE_AS)
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        tries = ["utf-16"]
    elif content[:200].count(0) > len(content[:200]) // 4:
        tries = ["utf-16-le" if content[1:2] == b"\0" else "utf-16-be"]
    else:
        tries = ["utf-8-sig", "cp1252"]
    for encoding in tries:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, encoding.removesuffix("-sig")
    raise ProblemsFound.single(file, None, "is not a text table in UTF-8, UTF-16 or Windows-1252", _SAVE_AS)


def _loose(text: str) -> str:
    return " ".join(text.replace("_", " ").casefold().split())


def _separator(text: str, known: Collection[str]) -> str:
    """The separator under which most known headings appear, then the one that gives the evenest rows."""
    sample = "\n".join(text.splitlines()[:_SAMPLE_LINES])
    names = {_loose(name) for name in known}

    def score(separator: str) -> tuple[int, bool, float, int]:
        try:
            rows = list(csv.reader(io.StringIO(sample), delimiter=separator, skipinitialspace=True))
        except csv.Error:
            return (0, False, 0.0, 0)
        rows = [row for row in rows if any(cell.strip() for cell in row)]
        if not rows:
            return (0, False, 0.0, 0)
        head = rows[0]
        even = sum(len(row) == len(head) for row in rows) / len(rows)
        return (sum(_loose(cell) in names for cell in head), len(head) > 1, even, len(head))

    best = max(score(separator) for separator in _SEPARATORS)
    if best[3] <= 1:
        return ","
    return next(separator for separator in _SEPARATORS if score(separator) == best)


def _unmarked(cell: str) -> str:
    plain = cell.strip()
    return plain[1:] if _MARKED.match(plain) else plain


def _cells(text: str, separator: str, first_line: int, file: str) -> list[TableRow]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=True)
    rows: list[TableRow] = []
    line = first_line
    try:
        for cells in reader:
            plain = [_unmarked(cell) for cell in cells]
            if any(plain):
                while not plain[-1]:
                    plain.pop()
                rows.append(TableRow(line, tuple(plain)))
            if len(rows) > _MOST_ROWS or len(plain) > _MOST_COLUMNS or max(map(len, plain), default=0) > _LONGEST_CELL:
                raise ProblemsFound.single(
                    file,
                    line,
                    f"is too large (at most {_MOST_ROWS} rows, {_MOST_COLUMNS} columns, {_LONGEST_CELL} "
                    "characters a cell)",
                    "keep only what is needed, and see that every quotation mark is closed",
                )
            line = first_line + reader.line_num
    except csv.Error as error:
        raise ProblemsFound.single(
            file, line, f"a quotation mark is not closed or stands within a cell ({error})", "double or remove it"
        ) from error
    return rows


def parse_table(content: bytes, file: str, known: Collection[str] = ()) -> Table:
    """Read a table with one row of headings.

    Parameters
    ----------
    file : name of the file for problems.
    known : headings that may be expected; they help to find the separator.

    Raises
    ------
    ProblemsFound
        Every fault of the table's build: no headings, a heading twice, cells without a heading, not closed quotes.
    """
    if len(content) > _MOST_BYTES:
        raise ProblemsFound.single(file, None, "is larger than 5 MB", "keep only the rows that are needed")
    text, encoding = _decoded(content, file)
    told = _TOLD_SEPARATOR.match(text)
    first_line = 1
    if told and told.group(1) in _SEPARATORS:
        text, first_line = text[told.end() :], 2
    separator = told.group(1) if first_line == 2 and told else _separator(text, known)
    rows = _cells(text, separator, first_line, file)
    if not rows:
        raise ProblemsFound.single(file, None, "is empty", "write a first line with the headings of the columns")
    head = rows[0]
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for place, heading in enumerate(head.cells):
        if not heading:
            if any(len(row.cells) > place and row.cells[place] for row in rows[1:]):
                problems.append(Problem(file, head.line, f"column {place + 1} has no heading", "write its heading"))
            continue
        if _loose(heading) in seen:
            problems.append(
                Problem(file, head.line, f'the heading "{heading}" stands twice', "rename or remove one of the columns")
            )
        seen.setdefault(_loose(heading), place)
    for row in rows[1:]:
        if len(row.cells) > len(head.cells):
            problems.append(
                Problem(
                    file,
                    row.line,
                    f"has {len(row.cells)} cells under {len(head.cells)} headings",
                    f'put a text or number that contains "{separator}" in quotation marks, or remove the extra cells',
                )
            )
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
        encoding,
    )


def named_columns(table: Table, columns: Sequence[str]) -> tuple[tuple[int, dict[str, str]], ...]:
    """The rows of a table that must have exactly the given columns: line, and cell by column.

    Capitals, spaces and the order of the columns do not matter.

    Raises
    ------
    ProblemsFound
        Every column that is missing or not known, with the nearest name.
    """
    by_loose = {_loose(column): column for column in columns}
    names = [heading if heading in columns else by_loose.get(_loose(heading)) for heading in table.headings]
    missing = [column for column in columns if column not in names]
    problems: list[Problem] = []
    for heading, name in zip(table.headings, names, strict=True):
        if name is None:
            near = nearest(heading, missing)
            mend = f'rename it "{near}"' if near else f"remove it, or use one of: {', '.join(columns)}"
            problems.append(Problem(table.file, table.heading_line, f'the column "{heading}" is not known', mend))
    problems += [
        Problem(table.file, table.heading_line, f'the column "{column}" is missing', "add it to the first line")
        for column in missing
    ]
    if problems:
        raise ProblemsFound(problems)
    return tuple(
        (row.line, {name: cell for name, cell in zip(names, row.cells, strict=True) if name is not None})
        for row in table.rows
    )


def table_text(headings: Sequence[str], rows: Iterable[Sequence[str | float]]) -> str:
    """A table as plain CSV: commas, decimal points, line feeds; texts that look like formulas made inert."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_inert(heading) for heading in headings])
    for row in rows:
        writer.writerow([_inert(cell) for cell in row])
    return out.getvalue()


def _inert(cell: str | float) -> str:
    if not isinstance(cell, str):
        return text_cell(cell)
    return f"'{cell}" if _FORMULA.match(cell) else cell
