"""What is inside an .xlsx file, looked at before anything is made of it.

An .xlsx file is a ZIP archive of XML parts, and may come from a stranger. Only the parts with cells are taken out, each
unpacked up to a limit and parsed strictly, and nothing but these parts is handed on. The same pass notes what the
values alone do not tell: a percent format (0.975 shown as 97.5 %), an error, a formula whose value was never saved.
Part names, attributes and numbers of built-in formats: ECMA-376 part 1, 12.3, 18.3.1.4 and 18.8.30, from memory.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pyexpat import ExpatError
from typing import TypeAlias
from xml.parsers import expat

from meltdoe.errors import ProblemsFound
from meltdoe.files.tables.table_rows import MOST_COLUMNS, MOST_ROWS, too_large

__all__ = ["SheetFacts", "XlsxParts", "xlsx_parts"]

Cell: TypeAlias = tuple[int, int]
"""Row and column, from 0."""

_WANTED = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|xl/_rels/workbook\.xml\.rels|xl/workbook\.xml|xl/styles\.xml"
    r"|xl/sharedStrings\.xml|xl/worksheets/[^/]+\.xml",
    re.IGNORECASE,
)
_SPELLED = {"xl/sharedstrings.xml": "xl/sharedStrings.xml"}  # some programs write the name in other capitals
_MOST_UNPACKED = 30_000_000
_MOST_PARTS = 2_000
_MOST_CELLS = 1_000_000
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})\Z")
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')
_PERCENT_FORMATS = {9, 10}  # the built-in formats 0% and 0.00%
_ZIP_FAULTS = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, RuntimeError, NotImplementedError, OSError, ValueError,
)  # fmt: skip


@dataclass(slots=True)
class SheetFacts:
    """What a sheet's values do not tell.

    Parameters
    ----------
    percent : cells that are shown as a percentage.
    instead : what stands in cells without a usable value: the error, or the formula.
    """

    percent: set[Cell] = field(default_factory=set)
    instead: dict[Cell, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class XlsxParts:
    """The parts of a spreadsheet that may be read.

    Parameters
    ----------
    archive : an archive of nothing but the parts that were looked at.
    sheets : facts by the name of the sheet.
    """

    archive: bytes
    sheets: Mapping[str, SheetFacts]


def damaged(file: str) -> ProblemsFound:
    """The problem of a spreadsheet that is not as it should be."""
    what = "cannot be read as an .xlsx workbook: it is damaged, or another kind of file under that name"
    return ProblemsFound.single(file, None, what, "save it from the spreadsheet as CSV (UTF-8) or .xlsx")


def xlsx_parts(content: bytes, file: str) -> XlsxParts:
    """Take out the parts with cells.

    Raises
    ------
    ProblemsFound
        Where the archive or a part is damaged, or there is too much in it.
    """
    parts = _unpacked(content, file)
    try:
        percent = _percent_styles(parts.get("xl/styles.xml", b""))
        sheets = {
            name: _facts(parts[part], percent, file) for name, part in _sheet_parts(parts).items() if part in parts
        }
        for part in ("[Content_Types].xml", "_rels/.rels", "xl/sharedStrings.xml"):
            _parse(parts.get(part, b""))
    except (ExpatError, ValueError, LookupError) as error:
        raise damaged(file) from error
    used = {part for part in parts if not part.startswith("xl/worksheets/")} | set(_sheet_parts(parts).values())
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for part in sorted(used & set(parts)):
            archive.writestr(part, parts[part])
    return XlsxParts(out.getvalue(), sheets)


def _unpacked(content: bytes, file: str) -> dict[str, bytes]:
    parts: dict[str, bytes] = {}
    left = _MOST_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            infos = archive.infolist()
            wanted = [info for info in infos if _WANTED.fullmatch(info.filename)]
            methods = {info.compress_type for info in wanted}
            if len(infos) > _MOST_PARTS or not methods <= {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
                raise damaged(file)
            for info in wanted:
                with archive.open(info) as part:
                    data = part.read(left + 1)
                left -= len(data)
                if left < 0:
                    raise too_large(file, None)
                name = _SPELLED.get(info.filename.lower(), info.filename)
                if name in parts:
                    raise damaged(file)
                parts[name] = data
    except _ZIP_FAULTS as error:
        raise damaged(file) from error
    return parts


_Attributes: TypeAlias = Mapping[str, str]


def _parse(
    content: bytes,
    begins: Callable[[str, _Attributes], None] | None = None,
    ends: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Go through a part; names come without their prefix, and no part may declare a document type of its own."""
    if not content:
        return
    parser = expat.ParserCreate("UTF-8")  # whatever the part claims, so that no cell is hidden by a strange encoding

    def refuse(*_: object) -> None:
        raise ValueError("a document type")

    parser.StartDoctypeDeclHandler = refuse
    if begins is not None:
        parser.StartElementHandler = lambda name, given: begins(_bare(name), {_bare(k): v for k, v in given.items()})
    if ends is not None:
        parser.EndElementHandler = lambda name: ends(_bare(name))
    if text is not None:
        parser.CharacterDataHandler = text
    parser.Parse(content, True)


def _bare(name: str) -> str:
    return name.rpartition(":")[2]


def _sheet_parts(parts: Mapping[str, bytes]) -> dict[str, str]:
    """The part of each sheet, by the sheet's name."""
    targets: dict[str, str] = {}
    found: dict[str, str] = {}

    def relation(name: str, given: _Attributes) -> None:
        if name == "Relationship":
            target = given["Target"]
            targets[given["Id"]] = target[1:] if target.startswith("/") else f"xl/{target}"

    def sheet(name: str, given: _Attributes) -> None:
        if name == "sheet" and given.get("id") in targets:
            found[given["name"]] = targets[given["id"]]

    _parse(parts["xl/_rels/workbook.xml.rels"], relation)
    _parse(parts["xl/workbook.xml"], sheet)
    return found


def _percent_styles(styles: bytes) -> set[int]:
    """The numbers of the cell styles that show a percentage."""
    formats: set[int] = set(_PERCENT_FORMATS)
    percent: set[int] = set()
    inside: list[str] = []
    count = 0

    def begins(name: str, given: _Attributes) -> None:
        nonlocal count
        if name == "numFmt" and "%" in _QUOTED.sub("", given.get("formatCode", "")):
            formats.add(int(given["numFmtId"]))
        if name == "xf" and inside[-1:] == ["cellXfs"]:
            if int(given.get("numFmtId", "0")) in formats:
                percent.add(count)
            count += 1
        inside.append(name)

    def ends(_: str) -> None:
        inside.pop()

    _parse(styles, begins, ends)
    return percent


def _facts(content: bytes, percent: set[int], file: str) -> SheetFacts:
    """Go through the cells of a sheet.

    Raises
    ------
    ProblemsFound
        Where they lie too far out, since every cell up to there would take room in memory.
    """
    facts = SheetFacts()
    row = column = -1
    widest = 0
    kind = formula = None
    has_value = False
    reading: list[str] = []

    def begins(name: str, given: _Attributes) -> None:
        nonlocal row, column, widest, kind, formula, has_value
        if name == "row":
            row = int(given["r"]) - 1 if "r" in given else row + 1
            column = -1
        elif name == "c":
            row, column = _place(given["r"]) if "r" in given else (row, column + 1)
            kind, formula, has_value = given.get("t"), None, False
            if int(given.get("s", "0")) in percent:
                facts.percent.add((row, column))
        elif name in ("f", "v", "is"):
            reading.clear()
            has_value |= name != "f"
        widest = max(widest, column + 1)
        if row >= MOST_ROWS or widest > MOST_COLUMNS or (row + 1) * widest > _MOST_CELLS:
            raise too_large(file, None)

    def ends(name: str) -> None:
        nonlocal formula
        if name == "f":
            formula = "=" + ("".join(reading).strip()[:200] or "a formula")
        elif name == "v" and kind == "e":
            facts.instead[row, column] = "".join(reading) or "an error"
        elif name == "c" and formula is not None and not has_value:
            facts.instead[row, column] = formula

    _parse(content, begins, ends, reading.append)
    return facts


def _place(reference: str) -> Cell:
    match = _REFERENCE.match(reference)
    if match is None:
        raise ValueError(f"no cell: {reference}")
    column = 0
    for letter in match[1]:
        column = 26 * column + ord(letter) - ord("A") + 1
    return int(match[2]) - 1, column - 1
