"""Headings that say nothing, matched by what stands below them."""

from dataclasses import replace

import pytest

from meltdoe.log.column_match import log_targets, match_columns
from meltdoe.log.content_match import match_contents
from meltdoe.series import Amount, Choice, Circumstance, GoodRange, MeltSeries, Outcome

SERIES = MeltSeries(
    title="Invented",
    factors=(
        Amount("peak", 1100, 1240, unit="°C"),
        Amount("flux", 10, 30, unit="wt%"),
        Choice("pattern", ("slab", "block")),
    ),
    outcomes=(
        Outcome("contained", "pass"),
        Outcome("poured", "pass", after="contained"),
        Outcome("fill", "measured", unit="%", bounds=(0, 100), after="poured", good=GoodRange(low=95)),
        Outcome("cracks", "grade", grades=("none", "hairline", "open"), good=("none",)),
    ),
    circumstances=(Circumstance("kiln", options=("old", "new")), Circumstance("humidity", unit="%")),
)


def matched(table, told=None, series=SERIES, decimal=None):
    """Heading to (column, way) of a table given as heading: cells."""
    told = told or {}
    found = match_contents(series, match_columns(list(table), log_targets(series), told), table, told, decimal)
    assert {column.heading for column in found.matched}.isdisjoint(found.unmatched)
    return {column.heading: (column.name, column.way) for column in found.matched}


def test_what_only_one_column_can_hold_is_matched():
    table = {
        "Try": ["1", "2", "3"],
        "Oven": ["1120", "1180", "1240"],
        "Powder": ["10,5", "14", "31"],
        "Shape": ["Slab", "", "block"],
        "Split": ["open", "none", "later"],
        "Which": ["old", "old", "new"],
        "On": ["2026-03-01", "2026-03-04", "2026-03-09"],
    }
    without_fill = replace(SERIES, outcomes=(*SERIES.outcomes[:2], SERIES.outcomes[3]))
    assert matched(table, series=without_fill, decimal=",") == {
        "Try": ("melt", "contents"),
        "Oven": ("peak", "contents"),
        "Powder": ("flux", "contents"),
        "Shape": ("pattern", "contents"),
        "Split": ("cracks", "contents"),
        "Which": ("kiln", "contents"),
        "On": ("date", "contents"),
    }


def test_a_name_goes_before_what_stands_below_it():
    assert matched({"flux": ["1", "2"], "x": ["12", "13"]}) == {"flux": ("flux", "exact")}, "and x may be fill"


def test_what_two_columns_can_hold_is_left():
    assert matched({"a": ["12", "20"]}) == {}, "flux, or how much was filled"
    assert matched({"a": ["12", "20"], "b": ["13", "21"]}) == {}
    assert matched({"a": ["12"], "b": ["", ""]}) == {}, "one cell tells little, none nothing"
    assert matched({"a": ["3000", "4000"]}) == {}, "far beyond every range"


def test_columns_of_yes_and_no_stand_in_the_order_of_the_work():
    table = {"Stayed": ["yes", "yes", "no"], "Came out": ["no", "yes", ""]}
    assert matched(table) == {"Stayed": ("contained", "contents"), "Came out": ("poured", "contents")}
    turned = dict(reversed(table.items()))
    assert matched(turned) == {}, "something would have been seen behind a failure"
    assert matched({"Stayed": ["yes", "no"]}) == {}, "it may be either"
    assert matched({"Stayed": ["yes", "no"], "contained": ["yes", "no"]})["Stayed"] == ("poured", "contents")


@pytest.mark.parametrize("told", [{"Oven": ""}, {"Oven": "note"}])
def test_what_the_user_has_settled_is_left_as_it_is(told):
    assert matched({"Oven": ["1120", "1180"]}, told).get("Oven", ("", ""))[1] != "contents"


def test_words_of_waiting_alone_are_no_outcome():
    assert matched({"Split": ["later", "lost"]}) == {}
