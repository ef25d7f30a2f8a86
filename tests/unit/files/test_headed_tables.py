"""Titles, groups over headings and units under them, as people lay out their tables."""

import pytest
from bench_series import bench_series, settings

from meltdoe.files.store.table_import import import_table, preview_import
from meltdoe.files.tables.table_rows import TableRow, headed, table_of

KNOWN = ("melt", "flux", "peak", "contained", "note", "Peak temperature")


def read(*lines, known=KNOWN):
    rows = [TableRow(number, tuple(line.split(","))) for number, line in enumerate(lines, start=1) if line.strip(",")]
    table = table_of(headed(rows, known), "old.csv", ",")
    return table.headings, table.heading_line, [row.cells for row in table.rows]


def test_the_first_line_is_the_heading_where_nothing_speaks_against_it():
    assert read("melt,flux", "1,20") == (("melt", "flux"), 1, [("1", "20")])
    assert read("a,b", "1,20") == (("a", "b"), 1, [("1", "20")])
    assert read("a,b", "melt,20") == (("a", "b"), 1, [("melt", "20")])


def test_titles_above_are_left_out():
    assert read("Winter", ",,", "melt,flux", "1,20") == (("melt", "flux"), 3, [("1", "20")])


@pytest.mark.parametrize("units", [",wt%,°C", ",[%],(°C)", "-,%,°C"])
def test_units_below_go_into_the_headings(units):
    headings, _, rows = read("melt,flux,peak", units, "1,20,1200")
    assert rows == [("1", "20", "1200")]
    assert headings[2] == "peak (°C)"


def test_a_row_of_cells_is_no_line_of_units():
    assert len(read("melt,flux,contained", "1,20,yes")[2]) == 1
    assert len(read("melt,flux,contained", ",,no")[2]) == 1


def test_groups_part_headings_that_stand_twice():
    headings, _, _ = read("number,planned,,actual,", "melt,flux,peak,flux,peak", "1,20,1200,21,1190")
    assert headings == ("melt", "planned flux", "planned peak", "actual flux", "actual peak")


def test_a_blank_heading_under_a_merged_one_is_that_of_its_group():
    headings, _, rows = read("melt,Settings,,note", ",flux,peak,", "1,20,1200,hot")
    assert headings == ("melt", "flux", "peak", "note")
    assert rows == [("1", "20", "1200", "hot")]


def test_a_table_with_title_groups_and_units_comes_in(tmp_path):
    path = tmp_path / "old.csv"
    path.write_text(
        '"Old melts";;;;\n;Settings;;;Seen\n"Nr";"Flux share\nof the charge";peak;sand;contained\n;wt%;°F;;\n'
        "11;20,5;2192;Fine;no\n",
        encoding="utf-8-sig",
    )
    result = import_table(bench_series(tmp_path), path)
    assert result.entries[0].settings == settings(20.5)
    assert [column.heading for column in result.match.matched][1] == "Flux share of the charge (wt%)"


def test_headings_that_the_user_names_are_known_headings(tmp_path):
    path = tmp_path / "old.csv"
    path.write_text("title\nA,B,C,D\n1,20,1200,fine\n")
    told = {"A": "contained", "B": "flux", "C": "peak", "D": "sand"}
    assert [column.heading for column in preview_import(bench_series(tmp_path), path, told).match.matched] == list(told)
