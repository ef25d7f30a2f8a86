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
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.files.disk.own_folder import read_ordinary, refuse_link_outside
from meltdoe.files.tables.table_rows import MOST_COLUMNS, MOST_ROWS, Table, TableRow, loose, table_of, too_large
from meltdoe.log.cell_words import text_cell
from meltdoe.log.column_match import nearest
from meltdoe.log.numbers import shortened

__all__ = ["named_columns", "parse_table", "read_bytes", "read_if_there", "read_rows", "refuse_cut_off", "table_text"]

_SEPARATORS = (";", "\t", "|", ",")
_MOST_BYTES = 5_000_000
_LONGEST_CELL = 20_000
_SAMPLE_LINES = 40
_TOLD_SEPARATOR = re.compile(r'"?sep=(.)"?\r?\n', re.IGNORECASE)
_SAVE_AS = "save it from the spreadsheet as CSV (UTF-8) or .xlsx"

# A formula begins with one of these, also in full width. A spreadsheet of another country may part the line at every
# semicolon, tab, bar or line end, so a formula behind one of those is made inert as well.
_BEGINS = r"[=+\-@\t\r\uff0b\uff0d\uff1d\uff20]"
_FORMULA = re.compile(rf"(\A[ \n]*|[;\t|\n] *)(?='*{_BEGINS})")
_MARKED = re.compile(rf"(\A[ \n]*|[;\t|\n] *)'(?='*{_BEGINS})")


def read_if_there(path: Path) -> bytes | None:
    """The content of a table's file, or None where there is no such file.

    Raises
    ------
    ProblemsFound
        Where it cannot be read, is too large, or is a link out of its folder.
    """
    refuse_link_outside(path)
    return read_ordinary(path, _MOST_BYTES)


def read_bytes(path: Path) -> bytes:
    """The content of a table's file; raises ProblemsFound where it does not exist, too."""
    content = read_ordinary(path, _MOST_BYTES)
    if content is None:
        raise ProblemsFound.single(path.name, None, "does not exist", "check the name and the folder")
    return content


def _decoded(content: bytes, file: str) -> str:
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
            return text
    raise ProblemsFound.single(file, None, "is not a text table in UTF-8, UTF-16 or Windows-1252", _SAVE_AS)


def _separator(text: str, known: Collection[str]) -> str:
    """The separator under which most known headings appear, then the one that gives the evenest rows."""
    sample = "\n".join(text.splitlines()[:_SAMPLE_LINES])
    names = {loose(name) for name in known}

    def score(separator: str) -> tuple[int, bool, float, int]:
        try:
            rows = list(csv.reader(io.StringIO(sample), delimiter=separator, skipinitialspace=True))
        except csv.Error:
            return (0, False, 0.0, 0)
        rows = [row for row in rows if any(cell.strip() for cell in row)]
        if not rows:
            return (0, False, 0.0, 0)
        head = max(rows[:10], key=lambda row: sum(loose(cell) in names for cell in row))
        even = sum(len(row) == len(head) for row in rows) / len(rows)
        return (sum(loose(cell) in names for cell in head), len(head) > 1, even, len(head))

    best = max(score(separator) for separator in _SEPARATORS)
    if best[3] <= 1:
        return ","
    return next(separator for separator in _SEPARATORS if score(separator) == best)


def _cells(text: str, separator: str, first_line: int, file: str) -> list[TableRow]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=True)
    rows: list[TableRow] = []
    line = first_line
    try:
        for cells in reader:
            plain = [_unmarked(cell.strip()) for cell in cells]
            if any(plain):
                while not plain[-1]:
                    plain.pop()
                rows.append(TableRow(line, tuple(plain)))
            if len(rows) > MOST_ROWS or len(plain) > MOST_COLUMNS or max(map(len, plain), default=0) > _LONGEST_CELL:
                raise too_large(file, line)
            line = first_line + reader.line_num
    except csv.Error as error:
        raise ProblemsFound.single(
            file, line, f"a quotation mark is not closed or stands within a cell ({error})", "double or remove it"
        ) from error
    return rows


def _unmarked(cell: str) -> str:
    return _MARKED.sub(r"\1", cell) if "'" in cell else cell


def read_rows(content: bytes, file: str, known: Collection[str] = ()) -> tuple[list[TableRow], str]:
    """Every row of a CSV text that is not empty, and the separator.

    Raises
    ------
    ProblemsFound
        Where it is no text, a quotation mark is not closed, or there is too much of it.
    """
    text = _decoded(content, file)
    told = _TOLD_SEPARATOR.match(text)
    if told and told.group(1) in _SEPARATORS:
        separator = told.group(1)
        return _cells(text[told.end() :], separator, 2, file), separator
    separator = _separator(text, known)
    return _cells(text, separator, 1, file), separator


def refuse_cut_off(content: bytes, file: str) -> None:
    """Raise ProblemsFound where a table of the series folder has no line end at its end, as one has that was cut off.

    Half a number is a number, too, so what is left of the last row must not be taken for an edit.
    """
    text = _decoded(content, file)
    if text.strip(" \t") and not text.endswith(("\n", "\r")):
        what = "ends without a line break, as a file does that was cut off while being saved"
        raise ProblemsFound.single(
            file, None, what, "see that its last row is whole and end it with a line break; or: meltdoe check --rebuild"
        )


def parse_table(content: bytes, file: str, known: Collection[str] = ()) -> Table:
    """Read a table whose first row holds the headings.

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
    rows, separator = read_rows(content, file, known)
    return table_of(rows, file, separator)


def named_columns(
    table: Table, columns: Sequence[str], may_lack: Collection[str] = (), mends: Mapping[str, str] | None = None
) -> tuple[tuple[int, dict[str, str]], ...]:
    """The rows of a table that must have exactly the given columns: line, and cell by column.

    Capitals, spaces and the order of the columns do not matter.

    Parameters
    ----------
    may_lack : columns that need not be there.
    mends : how to mend a column that is missing or not known, by its name, where that is not plain.

    Raises
    ------
    ProblemsFound
        Every column that is missing or not known, with the nearest name.
    """
    by_loose = {loose(column): column for column in columns}
    names = [heading if heading in columns else by_loose.get(loose(heading)) for heading in table.headings]
    missing = [column for column in columns if column not in names]
    own = mends or {}
    problems: list[Problem] = []
    for heading, name in zip(table.headings, names, strict=True):
        if name is None:
            near = nearest(heading, missing)
            plain = f'rename it "{near}"' if near else f"remove it, or use one of: {', '.join(columns)}"
            mend = plain if near else own.get(heading, plain)
            problems.append(
                Problem(table.file, table.heading_line, f'the column "{shortened(heading)}" is not known', mend)
            )
    problems += [
        Problem(
            table.file,
            table.heading_line,
            f'the column "{column}" is missing',
            own.get(column, "add it to the first line"),
        )
        for column in missing
        if column not in may_lack
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
    return cell if not cell or cell.isalnum() else _FORMULA.sub(r"\1'", cell)
