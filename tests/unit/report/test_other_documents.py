"""The page for other documents: the same numbers in Markdown, DOCX and CSV, harmless and the same bytes twice."""

import csv
import io
import re
import zipfile
from functools import cache

import docx
import pytest
from invented_reports import drawn_for, page_for, pictures_for

from meltdoe.report.figures.style import png_bytes
from meltdoe.report.markdown import markdown_text
from meltdoe.report.page_blocks import Code, FigureBlock, Heading, Item, Paragraph, TableBlock, page_blocks
from meltdoe.report.table_files import table_files
from meltdoe.report.word import word_bytes

NUMBER = re.compile(r"\d+(?:\.\d+)?")


@cache
def blocks_for(case):
    return page_blocks(page_for(case))


@cache
def word_for(case):
    return word_bytes(blocks_for(case), {one.name: png_bytes(one.figure, 30) for one in pictures_for(case)})


def tables_of(case):
    return [block for block in blocks_for(case) if isinstance(block, TableBlock)]


def csv_rows(text):
    return [tuple(row) for row in csv.reader(io.StringIO(text.removeprefix("\ufeff")))]


def test_blocks_hold_the_page_in_its_order():
    blocks = blocks_for("whole chain")
    assert isinstance(blocks[0], Heading)
    assert blocks[0].level == 1
    titles = [block.text for block in blocks if isinstance(block, Heading) and block.level == 2]
    assert titles[1] == "2. The answer"
    assert not any("Try other settings" in title for title in titles)  # the panel needs a screen
    assert [block.name for block in blocks if isinstance(block, FigureBlock)]
    assert {block.name for block in blocks if isinstance(block, FigureBlock)} == set(drawn_for("whole chain"))
    assert all(block.alt and block.caption for block in blocks if isinstance(block, FigureBlock))
    for table in tables_of("whole chain"):
        assert all(len(row) == len(table.columns) for row in table.rows)


@pytest.mark.parametrize("case", ["whole chain", "hostile names", "no melts"])
def test_every_table_is_a_csv_file_with_the_very_cells(case):
    files = table_files(blocks_for(case))
    tables = tables_of(case)
    assert len(files) == len(tables)
    for (name, text), table in zip(files.items(), tables, strict=True):
        assert name.startswith(f"tables/{NUMBER.search(table.caption).group():0>2}-")
        rows = csv_rows(text)
        assert [tuple(cell.lstrip("'") for cell in row) for row in rows] == [
            tuple(cell.lstrip("'") for cell in row) for row in (table.columns, *table.rows)
        ]


def test_no_cell_is_a_formula_for_a_spreadsheet():
    block = TableBlock("Table 1. t", ("a",), (("=1+1",), ("@SUM(A1)",), ("-2+3 to 4",), ("+cmd|x",), ("-0.5",)))
    rows = csv_rows(table_files([block])["tables/01-t.csv"])
    assert [row[0] for row in rows[1:]] == ["'=1+1", "'@SUM(A1)", "-2+3 to 4", "'+cmd|x", "-0.5"]


def test_the_word_file_says_what_the_page_says():
    document = docx.Document(io.BytesIO(word_for("whole chain")))
    said = {paragraph.text for paragraph in document.paragraphs}
    for block in blocks_for("whole chain"):
        if isinstance(block, Heading | Paragraph | Item):
            assert block.text in said
    for table, block in zip(document.tables, tables_of("whole chain"), strict=True):
        assert [tuple(cell.text for cell in row.cells) for row in table.rows] == [block.columns, *block.rows]
    shapes = [shape._inline.docPr.get("descr") for shape in document.inline_shapes]
    assert shapes == [block.alt for block in blocks_for("whole chain") if isinstance(block, FigureBlock)]


def test_the_word_file_is_the_same_bytes_and_tells_no_time():
    pixels = {one.name: png_bytes(one.figure, 30) for one in pictures_for("whole chain")}
    assert word_bytes(blocks_for("whole chain"), pixels) == word_for("whole chain")
    with zipfile.ZipFile(io.BytesIO(word_for("whole chain"))) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.parametrize("case", ["hostile names", "no melts"])
def test_hostile_and_empty_series_give_a_word_file_that_opens(case):
    assert docx.Document(io.BytesIO(word_for(case))).paragraphs


def test_markdown_holds_every_number_and_the_methods():
    text = markdown_text(blocks_for("whole chain"))
    assert "## 14. Methods" in text
    for block in blocks_for("whole chain"):
        if isinstance(block, Paragraph) and not block.note:
            assert set(NUMBER.findall(block.text)) <= set(NUMBER.findall(text))
    for table in tables_of("whole chain"):
        assert f"| {' | '.join(table.columns)} |".count("|") == len(table.columns) + 1
        head = text[text.index(re.sub(r"([\\`*_\[\]<>|~$&])", r"\\\1", table.caption)) :].splitlines()[2]
        assert len(re.findall(r"(?<!\\)\|", head)) == len(table.columns) + 1
    assert "](figures/melts.svg)" in text


def test_markdown_lets_no_markup_of_the_series_through():
    text = markdown_text(blocks_for("hostile names"))
    outside = re.sub(r"(?ms)^```.*?^```$", "", text)
    assert not re.search(r"(?<!\\)<", outside)
    assert "{{ 7\\*7 }}" in text
    blocks = [Paragraph("1. not a list"), Paragraph("# no heading"), Paragraph("+ no item"), Code("a ``` b")]
    assert markdown_text(blocks).splitlines() == [
        "1\\. not a list", "", "\\# no heading", "", "\\+ no item", "", "````", "a ``` b", "````",
    ]  # fmt: skip


def test_every_case_can_be_taken_apart():
    for case in ("whole chain", "hostile names", "no melts"):
        assert len(tables_of(case)) == page_for(case).count("<table>"), case
