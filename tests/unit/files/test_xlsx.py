"""Spreadsheets: brought in by the same path as CSV, and the log as a workbook that comes back."""

import datetime
import io
import zipfile
from xml.etree import ElementTree

import pytest
import xlsxwriter
from bench_series import GOOD, SPILLED, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.recording import record_melt
from meltdoe.files.store.table_import import import_table, preview_import
from meltdoe.files.tables.log_workbook import log_workbook
from meltdoe.files.tables.xlsx_table import xlsx_rows
from meltdoe.log import Log
from meltdoe.series import Circumstance, Unseen

HEAD = ["melt", "flux", "peak", "sand", "contained", "fill", "date", "note"]


def workbook(fill, *names):
    """The bytes of a workbook whose sheets `fill` writes."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False}) as book:
        fill(book, *(book.add_worksheet(name) for name in names or ("Sheet1",)))
    return out.getvalue()


def rows(content, known=HEAD):
    return [(row.line, row.cells) for row in xlsx_rows(content, "old.xlsx", known)[0]]


def one_row(write):
    """What the second row of a sheet reads as where `write` filled it in."""
    return rows(workbook(lambda book, sheet: (sheet.write_row(0, 0, HEAD), write(book, sheet))))[1][1]


def test_numbers_dates_truths_and_blanks_are_read_as_they_are_meant():
    def write(book, sheet):
        sheet.write_number(1, 0, 3)
        sheet.write_number(1, 1, 20.1 + 1e-15)
        sheet.write_number(1, 2, -0.5)
        sheet.write_string(1, 3, " fine ")
        sheet.write_boolean(1, 4, True)
        sheet.write_datetime(
            1, 6, datetime.datetime(2026, 11, 25, 14, 30), book.add_format({"num_format": "d/m/yy h:mm"})
        )
        sheet.write_string(1, 7, "=1+1")

    assert one_row(write) == ("3", "20.1", "-0.5", "fine", "yes", "", "2026-11-25T14:30:00", "=1+1")


def test_a_percentage_is_what_is_shown_and_not_the_number_behind_it():
    def write(book, sheet):
        sheet.write_number(1, 4, 0.07, book.add_format({"num_format": '0 "at %"'}))
        sheet.write_number(1, 5, 0.975, book.add_format({"num_format": "0.0 %"}))
        sheet.write_number(1, 6, 0.29, book.add_format({"num_format": 9}))

    assert one_row(write)[4:] == ("0.07", "97.5 %", "29 %")


def test_a_formula_counts_as_its_value_and_an_error_or_a_missing_value_is_not_a_blank():
    def write(book, sheet):
        sheet.write_formula(1, 1, "=10+10", None, 20)
        sheet.write_formula(1, 3, '="fi"&"ne"', None, "fine")
        sheet.write_formula(1, 5, "=A1/0", None, "#DIV/0!")
        sheet.write_formula(1, 7, "=A1&B1", None, "")

    content = workbook(lambda book, sheet: (sheet.write_row(0, 0, HEAD), write(book, sheet)))
    assert rows(content)[1][1] == ("", "20", "", "fine", "", "#DIV/0!")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = parts["xl/worksheets/sheet1.xml"].replace(b"<v>20</v>", b"")
    assert rows(archived(parts))[1][1][1] == "=10+10"


def archived(parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_the_sheet_that_fits_is_taken(tmp_path):
    def write(book, first, second):
        first.write_row(0, 0, ["a", "b"])
        second.write_row(0, 0, HEAD[:5])
        second.write_row(1, 0, [1, 20, 1200, "fine", "no"])

    path = tmp_path / "old.xlsx"
    path.write_bytes(workbook(write, "Prices", "Melts"))
    result = import_table(bench_series(tmp_path), path)
    assert result.source == "old.xlsx, sheet Melts"
    assert result.entries[0].settings == settings()


def test_a_table_with_merged_headings_is_shown_first_and_then_brought_in(tmp_path):
    def write(book, sheet):
        sheet.merge_range(0, 0, 0, 5, "Old melts of last winter")
        sheet.merge_range(2, 1, 2, 3, "Settings")
        sheet.merge_range(2, 4, 2, 5, "Seen")
        sheet.write_row(3, 0, ["Nr", "Flux share of the charge", "peak", "SAND", "contained", "fill"])
        sheet.write_row(4, 0, ["", "wt%", "°F", "", "", "%"])
        sheet.write_row(5, 0, [11, 20.5, 2192, "Fine", True, "later"])
        sheet.write_row(7, 0, [12, 21, 2192, "coarse", False])

    series, path = bench_series(tmp_path), tmp_path / "old.xlsx"
    path.write_bytes(workbook(write))
    before = snapshot(tmp_path)
    preview = preview_import(series, path)
    assert [str(column) for column in preview.match.matched] == [
        '"Nr" is melt (label)',
        '"Flux share of the charge (wt%)" is flux (label)',
        '"peak (°F)" is peak (same word, in °F)',
        '"SAND" is sand (same word)',
        '"contained" is contained (exact)',
        '"fill (%)" is fill (same word)',
    ]
    assert snapshot(tmp_path) == before
    entries = import_table(series, path).entries
    assert [entry.settings for entry in entries] == [settings(20.5), settings(21, sand="coarse")]
    assert entries[0].seen["fill"] is Unseen.LATER


def test_a_problem_names_the_row_of_the_sheet(tmp_path):
    path = tmp_path / "old.xlsx"
    path.write_bytes(
        workbook(lambda b, s: (s.write_row(1, 0, HEAD[:6]), s.write_row(4, 0, [1, 20, 1200, "fine", "yes", "full"])))
    )
    (problem,) = preview_import(bench_series(tmp_path), path).problems
    assert str(problem).startswith('old.xlsx, line 5: fill: "full" is not a number')


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
SHEET_PART = "xl/worksheets/sheet1.xml"


def with_sheet(xml, **more):
    with zipfile.ZipFile(io.BytesIO(workbook(lambda book, sheet: sheet.write_row(0, 0, HEAD)))) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    return archived(parts | {SHEET_PART: xml.encode()} | more)


def far(reference):
    return SHEET.format(f'<row r="1"><c r="A1"><v>1</v></c><x:c xmlns:x="u" r=\'{reference}\'><v>1</v></x:c></row>')


BOMB = '<!DOCTYPE w [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>' + SHEET.format("<row><c><v>&b;</v></c></row>")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04", "is damaged"),
        (archived({"a.txt": b"x"}), "is damaged"),
        (archived({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}), "is damaged"),
        (with_sheet(far("XFD1048576")), "too large"),
        (with_sheet(far("A20001")), "too large"),
        (with_sheet(far("OZ1")), "too large"),
        (with_sheet(far("1A")), "is damaged"),
        (with_sheet(SHEET.format('<row r="99999999"/>')), "too large"),
        (with_sheet(BOMB), "is damaged"),
        (with_sheet(SHEET.format("") + "<"), "is damaged"),
        (with_sheet('<?xml version="1.0" encoding="UbF-8"?>' + far("XFD1")), "too large"),
        (with_sheet(SHEET.format(" " * 31_000_000)), "too large"),
        (with_sheet(SHEET.format(f'<row><c t="str"><v>{"x" * 20_001}</v></c></row>')), "too large"),
    ],
    ids=range(13),
)
def test_a_spreadsheet_that_is_damaged_or_a_trap_is_one_line(tmp_path, content, said):
    path = tmp_path / "old.xlsx"
    path.write_bytes(content)
    with pytest.raises(ProblemsFound, match=said) as found:
        import_table(bench_series(tmp_path), path)
    assert len(found.value.problems) == 1
    assert "\n" not in str(found.value)
    assert list(snapshot(tmp_path)) == ["old.xlsx"]


def test_an_old_binary_spreadsheet_is_told_how_to_be_saved(tmp_path):
    path = tmp_path / "old.xls"
    path.write_bytes(b"\xd0\xcf\x11\xe0" + b"\0" * 600)
    with pytest.raises(ProblemsFound, match=r"save it from the spreadsheet as CSV \(UTF-8\) or .xlsx"):
        import_table(bench_series(tmp_path), path)


TEXTS = [
    "=cmd|'/c calc'!A1",
    "@x",
    "two\nlines",
    "_x0041_",
    "<b>&amp;",
    "007",
    "1.50",
    "http://x.invalid",
    "{=1}",
    "ß½𝔊",
    "'=1",
]


@pytest.fixture
def series(tmp_path):
    series = bench_series(tmp_path)
    pots = Circumstance("pot", options=("A", "B", "with, comma"))
    series = bench_series(tmp_path, circumstances=(series.circumstances[0], pots))
    record_melt(
        series, settings=settings(20.5), seen=GOOD, date="2026-11-25", circumstances={"humidity": 61.5, "pot": "B"}
    )
    record_melt(
        series, settings=settings(sand="-325 mesh"), seen={"contained": "yes", "fill": "later"}, date="0999-01-01"
    )
    for text in TEXTS:
        record_melt(series, settings=settings(), seen=SPILLED, note=text)
    return series


def test_the_log_as_a_workbook_comes_back_whole(series, tmp_path):
    log = read_log(series)
    (tmp_path / "log.xlsx").write_bytes(log_workbook(series, log))
    assert {draft.how for draft in import_table(series, tmp_path / "log.xlsx").drafts} == {"unchanged"}
    (tmp_path / "other").mkdir()
    other = bench_series(tmp_path / "other", circumstances=series.circumstances)
    assert import_table(other, tmp_path / "log.xlsx").entries == log.entries


def test_the_same_log_gives_the_same_bytes_on_any_day(series, monkeypatch):
    first = log_workbook(series, read_log(series))
    monkeypatch.setattr("time.time", lambda: 2e9)
    monkeypatch.setattr("time.localtime", lambda *_: __import__("time").gmtime(2e9))
    assert log_workbook(series, read_log(series)) == first


def test_no_cell_of_the_workbook_is_a_formula_and_the_drop_downs_hold_the_words(series):
    with zipfile.ZipFile(io.BytesIO(log_workbook(series, read_log(series)))) as archive:
        sheet = ElementTree.fromstring(archive.read("xl/worksheets/sheet1.xml"))
        words = ElementTree.fromstring(archive.read("xl/worksheets/sheet2.xml"))
        assert b'state="hidden"' in archive.read("xl/workbook.xml")
        assert b'quotePrefix="1"' in archive.read("xl/styles.xml")
    space = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
    assert sheet.findall(".//m:f", space) == words.findall(".//m:f", space) == []
    assert sheet.findall(".//m:hyperlink", space) == []
    rules = {
        rule.get("sqref").split(":")[0]: (rule.get("type"), rule.findtext("m:formula1", None, space))
        for rule in sheet.findall(".//m:dataValidation", space)
    }
    heads = [*HEAD[:1], "firing", "date", *HEAD[1:6], "cracks", "humidity", "pot", "note"]
    of = {name: rules.get(f"{chr(ord('A') + i)}2") for i, name in enumerate(heads)}
    assert of["sand"] == ("list", "words!$A$1:$A$4")
    assert of["contained"] == ("list", "words!$B$1:$B$4")
    assert of["cracks"] == ("list", "words!$C$1:$C$6")
    assert of["pot"] == ("list", "words!$D$1:$D$3")
    assert of["fill"][0] == "custom"
    assert "later" in of["fill"][1]
    assert "H2<=100" in of["fill"][1]
    assert of["note"] is None


def test_a_workbook_without_rows_is_a_form_to_fill_in(tmp_path):
    series = bench_series(tmp_path)
    (tmp_path / "form.xlsx").write_bytes(log_workbook(series, Log(series)))
    with pytest.raises(ProblemsFound, match="holds no row under its headings"):
        import_table(series, tmp_path / "form.xlsx")
