"""The page as a DOCX file, the same bytes for the same page."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Mapping, Sequence

import docx
from docx.document import Document
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm, Pt
from docx.table import _Cell

from meltdoe.report.page_blocks import Block, Code, FigureBlock, Heading, Item, Paragraph, TableBlock

__all__ = ["word_bytes"]

_EPOCH = datetime.datetime(1980, 1, 1)  # the oldest date that a zip file can hold; the file tells no time of its own
_FIGURE = Mm(105)
_ACROSS = 8  # columns from which the letters of a table are small


def word_bytes(blocks: Sequence[Block], pixels: Mapping[str, bytes]) -> bytes:
    """The blocks of a page.

    Parameters
    ----------
    pixels : PNG of every figure, by its name.
    """
    document = docx.Document()
    section = document.sections[0]
    section.page_width, section.page_height = Mm(210), Mm(297)
    section.left_margin = section.right_margin = Mm(25)
    properties = document.core_properties
    properties.created = properties.modified = _EPOCH
    properties.author = properties.last_modified_by = properties.comments = ""
    properties.title = next((b.text for b in blocks if isinstance(b, Heading)), "")[:250]
    for block in blocks:
        _add(document, block, pixels)
    out = io.BytesIO()
    document.save(out)
    return _undated(out.getvalue())


def _add(document: Document, block: Block, pixels: Mapping[str, bytes]) -> None:
    match block:
        case Heading(level, text):
            document.add_heading(text, level - 1)
        case Paragraph(text, note):
            run = document.add_paragraph().add_run(text)
            run.font.size = Pt(9) if note else None
        case Item(text, numbered):
            document.add_paragraph(text, style="List Number" if numbered else "List Bullet")
        case Code(text):
            run = document.add_paragraph().add_run(text)
            run.font.name, run.font.size = "Courier New", Pt(7)
        case FigureBlock(name, alt, caption):
            shape = document.add_picture(io.BytesIO(pixels[name]), width=_FIGURE)
            shape._inline.docPr.set("descr", alt)
            document.add_paragraph(caption, style="Caption")
        case TableBlock():
            _add_table(document, block)


def _add_table(document: Document, block: TableBlock) -> None:
    document.add_paragraph(block.caption, style="Caption").paragraph_format.keep_with_next = True
    table = document.add_table(rows=0, cols=len(block.columns), style="Table Grid")
    size = Pt(7 if len(block.columns) >= _ACROSS else 8.5)
    for i, cells in enumerate((block.columns, *block.rows)):
        row = table.add_row()
        for inner, text in zip(row._tr.tc_lst, cells, strict=True):  # `row.cells` looks through the whole table
            run = _Cell(inner, table).paragraphs[0].add_run(text)
            run.font.size, run.bold = size, i == 0
        if i == 0:  # repeated on every page that the table runs over
            repeat = OxmlElement("w:tblHeader")
            repeat.set(qn("w:val"), "true")
            row._tr.get_or_add_trPr().append(repeat)
    document.add_paragraph()


def _undated(content: bytes) -> bytes:
    """The same archive with every date set to one."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            new.writestr(zipfile.ZipInfo(name, _EPOCH.timetuple()[:6]), old.read(name), zipfile.ZIP_DEFLATED)
    return out.getvalue()
