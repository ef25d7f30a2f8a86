"""CSV from the spreadsheets of any country, and back."""

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.files.tables.csv_table import named_columns, parse_table, table_text

HEAD = ("melt", "flux", "note")
PLAIN = 'melt,flux,note\n1,20.5,hot\n2,21,"a, b"\n'


def cells(content, known=HEAD):
    table = parse_table(content, "log.csv", known)
    return [table.headings, *(row.cells for row in table.rows)]


EXPECTED = [HEAD, ("1", "20.5", "hot"), ("2", "21", "a, b")]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("known", [HEAD, ()])
def test_the_separator_is_found(separator, known):
    text = PLAIN.replace('"a, b"', "A").replace(",", separator).replace("A", '"a, b"')
    assert cells(text.encode(), known) == EXPECTED


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_the_encoding_is_found(encoding):
    text = PLAIN.replace("hot", "heiß, 1200 °C").replace("heiß, 1200 °C", '"heiß, 1200 °C"')
    assert cells(text.encode(encoding))[1] == ("1", "20.5", "heiß, 1200 °C")


def test_decimal_commas_do_not_hide_the_semicolon():
    assert cells(b"a;b\n1,5;2,5\n3,5;4,5\n", ()) == [("a", "b"), ("1,5", "2,5"), ("3,5", "4,5")]


def test_a_line_that_names_the_separator_is_obeyed():
    table = parse_table(b"sep=;\r\nmelt;note\r\n1;x,y\r\n", "log.csv")
    assert table.headings == ("melt", "note")
    assert table.rows[0].line == 3


def test_empty_rows_and_columns_and_stray_spaces_are_left_out():
    text = ' melt , flux,note,,\r\n\r\n 1 , 20.5 , hot ,,\r\n,,,,\r\n2,21,"a, b"\r\n,,\r\n'
    assert cells(text.encode()) == EXPECTED


def test_lines_are_counted_through_quoted_line_breaks():
    table = parse_table(b'melt,note\n1,"two\nlines"\n2,x\n', "log.csv")
    assert [row.line for row in table.rows] == [2, 4]
    assert table.rows[0].cells == ("1", "two\nlines")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"PK\x03\x04rest", "spreadsheet's own format"),
        (b"melt,note\n1,\x81\x8d\x00\n", "not a text table"),
        (b'melt,note\n1,"open\n2,x\n', "line 2: a quotation mark is not closed"),
        (b"melt,,note\n1,2,3\n", "column 2 has no heading"),
        (b"melt,Melt\n1,2\n", '"Melt" stands twice'),
        (b"melt,note\n1,a,b\n", "line 2: has 3 cells under 2 headings"),
        (b"melt,note\n1," + b"x" * 20_001, "too large"),
        (b"a," * 400 + b"b\n", "too large"),
        (b"a,b\n" + b"1,2\n" * 20_001, "too large"),
        (b"x" * 5_000_001, "larger than 5 MB"),
    ],
)
def test_what_is_no_table_is_said_in_one_line(content, said):
    with pytest.raises(ProblemsFound) as found:
        parse_table(content, "log.csv")
    assert said in str(found.value)
    assert "\n" not in str(found.value)


def test_columns_that_are_missing_or_not_known_are_all_named():
    table = parse_table(b"melt,flx,colour\n1,2,3\n", "log.csv")
    with pytest.raises(ProblemsFound) as found:
        named_columns(table, HEAD)
    assert str(found.value).splitlines() == [
        'log.csv, line 1: the column "flx" is not known; rename it "flux"',
        'log.csv, line 1: the column "colour" is not known; remove it, or use one of: melt, flux, note',
        'log.csv, line 1: the column "flux" is missing; add it to the first line',
        'log.csv, line 1: the column "note" is missing; add it to the first line',
    ]


def test_columns_may_stand_in_any_order_and_capitals():
    table = parse_table(b"Note,MELT,flux\nx,1,2\n", "log.csv")
    assert named_columns(table, HEAD) == ((2, {"note": "x", "melt": "1", "flux": "2"}),)


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@x", "'=1", "''=1", "'quoted'", 'say "x"', "a;b,c|d", "line\nbreak", "'", "-325 mesh", "ß°"],
)
def test_texts_come_back_as_they_were_and_never_as_formulas(text):
    written = table_text(HEAD, [(1, 20.5, text)])
    assert parse_table(written.encode(), "log.csv").rows[0].cells[2] == text
    last = parse_table(written.replace("'", "^").encode(), "log.csv").rows[0].cells[2]
    assert last[0] not in "=+-@"


def test_numbers_stay_numbers():
    assert table_text(("a", "b", "c"), [(-5.0, 0.1, 20)]) == "a,b,c\n-5,0.1,20\n"
