"""Numbers, units and dates as people and spreadsheets write them."""

import datetime

import pytest

from meltdoe.log.dates import day_order, read_date
from meltdoe.log.numbers import CellFault, decimal_mark, number_text, read_number, read_quantity, read_whole

NOV_25 = datetime.date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1190", 1190),
        (" 20,5 ", 20.5),
        ("20.5", 20.5),
        ("-3", -3),
        ("−3", -3),
        ("+.5", 0.5),
        ("1e3", 1000),
        ("1.190,5", 1190.5),
        ("1,190.5", 1190.5),
        ("1,234,567", 1234567),
        ("1 190", 1190),
        ("1\u00a0190,25", 1190.25),
        ("1'190.5", 1190.5),
        ("0,125", 0.125),
        ("1190,125", 1190.125),
    ],
)
def test_numbers_that_can_mean_one_thing_are_read(text, value):
    assert read_number(text) == value


@pytest.mark.parametrize("text", ["", "hot", "1,2,3", "1.2.3.4", "12,34.5", "1 19", "nan", "inf", "1e999", "--2", "."])
def test_what_is_no_number_is_a_fault(text):
    with pytest.raises(CellFault):
        read_number(text)


def test_a_thousands_mark_that_could_be_decimal_is_asked_about():
    with pytest.raises(CellFault, match=r"1\.19 or 1190"):
        read_number("1,190")
    assert read_number("1,190", decimal=",") == 1.19
    assert read_number("1,190", decimal=".") == 1190
    assert read_number("1.190", decimal=",") == 1190


def test_the_range_settles_which_number_is_meant():
    assert read_number("1.190", within=(1000, 1300)) == 1190
    assert read_number("1.190", within=(0, 5)) == 1.19
    with pytest.raises(CellFault):
        read_number("1.190", within=(0, 5000))


def test_the_decimal_mark_of_a_table_is_found_from_its_clear_numbers():
    assert decimal_mark(["1,190", "20,5", ""]) == ","
    assert decimal_mark(["1,190", "20.5 wt%"]) == "."
    assert decimal_mark(["1,190", "1190"]) is None
    assert decimal_mark(["20,5", "20.5"]) is None
    assert decimal_mark(["1.190,5"]) == ","


@pytest.mark.parametrize("value", [0.1, 1 / 3, 1e-9, 123456789.123, 20.0, -0.0, 1e22, 2**53 + 2.0])
def test_number_text_reads_back_as_the_same_number(value):
    assert float(number_text(value)) == value
    assert number_text(20.0) == "20"


def test_units_behind_a_number_are_converted():
    assert read_quantity("2174 °F", "°C") == 1190
    assert read_quantity("1190", "°C") == 1190
    assert read_quantity("1 190 C", "°C") == 1190
    assert read_quantity("80%", "%") == 80
    assert read_quantity("0,5 in", "mm") == 12.7


@pytest.mark.parametrize(("text", "unit"), [("3 mm", "%"), ("3 apples", "mm"), ("3 mm", "")])
def test_a_unit_of_another_kind_is_a_fault(text, unit):
    with pytest.raises(CellFault, match="unit"):
        read_quantity(text, unit)


def test_whole_numbers_may_carry_a_spreadsheets_point():
    assert read_whole("4.0") == 4
    for text in ("0", "-1", "2.5", "", "four", "1e9"):
        with pytest.raises(CellFault):
            read_whole(text)


@pytest.mark.parametrize(
    "text",
    ["2026-11-25", "2026/11/25", "25.11.2026", "25.11.26", "25/11/2026", "11/25/2026", "25-11-2026",
     "2026-11-25 14:30", "2026-11-25T14:30:00Z", "25 Nov 2026", "November 25, 2026", " 25. 11. 2026 "],
)  # fmt: skip
def test_dates_in_every_unambiguous_form_are_read(text):
    assert read_date(text) == NOV_25


def test_a_date_that_could_be_two_is_asked_about_or_settled_by_its_column():
    with pytest.raises(CellFault, match="2026-11-05 or 2026-05-11"):
        read_date("05/11/2026")
    assert read_date("05/11/2026", "day first") == datetime.date(2026, 11, 5)
    assert read_date("05/11/2026", "month first") == datetime.date(2026, 5, 11)
    assert read_date("05/11/2026", known=datetime.date(2026, 5, 11)) == datetime.date(2026, 5, 11)
    assert read_date("11/11/2026") == datetime.date(2026, 11, 11)
    assert day_order(["05/11/2026", "25/11/2026"]) == "day first"
    assert day_order(["05/11/2026", "11/25/2026"]) == "month first"
    assert day_order(["25/11/2026", "11/25/2026"]) is None


@pytest.mark.parametrize("text", ["yesterday", "2026-13-01", "31.02.2026", "25/25/2026", "12", "25 Foo 2026", "1/2/26"])
def test_what_is_no_date_is_a_fault(text):
    with pytest.raises(CellFault, match="2026-11-25"):
        read_date(text)


def test_a_blank_date_is_none():
    assert read_date("  ") is None


def test_a_tables_decimal_mark_does_not_make_a_setting_that_nobody_can_have_meant():
    """1,180 beside 1.180,5: a decimal comma would put a peak temperature at 1.18 °C."""
    with pytest.raises(CellFault, match="can be"):
        read_number("1,180", ",", (960.0, 1380.0))
    assert read_number("1,180", ",", (0.0, 5.0)) == 1.18
    assert read_number("1,180", ".", (960.0, 1380.0)) == 1180.0
