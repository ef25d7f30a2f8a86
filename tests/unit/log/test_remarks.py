"""What is worth a second look: settings beyond range and limit, dates to come, circumstances left blank."""

import datetime
from dataclasses import replace

import pytest

from meltdoe.log.melt_log import Entry
from meltdoe.log.remarks import circumstance_remarks, entry_remarks, firing_remarks, log_remarks
from meltdoe.series import Amount, Circumstance, Limit, MeltSeries, Outcome, Unseen
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.recipe import Recipe

TODAY = datetime.date(2026, 11, 25)


@pytest.fixture
def series():
    keep = "peak <= 1280"
    return MeltSeries(
        title="Invented",
        factors=(Amount("peak", 1100, 1250, unit="°C"), Amount("flux", 15, 40, unit="wt%")),
        outcomes=(Outcome("contained", "pass"),),
        limits=(Limit(keep, "the kiln goes no higher than 1280 °C", parse_comparison(keep)),),
        circumstances=(Circumstance("humidity", unit="%"),),
    )


def made(melt, peak=1200.0, date=None, **circumstances):
    return Entry(melt, melt, {"peak": peak, "flux": 20.0}, {"contained": Unseen.LATER}, date, circumstances)


def test_a_setting_above_the_ceiling_is_said_to_be_so(series):
    assert entry_remarks(series, made(1, peak=1300.0), TODAY) == (
        "peak 1300 °C lies outside 1100 to 1250",
        "peak 1300 °C: beyond the limit peak <= 1280 (the kiln goes no higher than 1280 °C)",
    )
    assert entry_remarks(series, made(1, peak=1280.0), TODAY) == ("peak 1280 °C lies outside 1100 to 1250",)
    assert entry_remarks(series, made(1), TODAY) == ()


def test_a_date_that_is_still_to_come_is_remarked_on(series):
    assert entry_remarks(series, made(1, date=TODAY), TODAY) == ()
    tomorrow = TODAY + datetime.timedelta(days=1)
    assert entry_remarks(series, made(1, date=tomorrow), TODAY) == ("the date 2026-11-26 is still to come",)


def test_a_circumstance_that_some_melts_lack_is_named_with_the_melts(series):
    entries = (made(1, humidity=55.0), made(2), made(3), made(4, humidity=40.0))
    assert circumstance_remarks(series, entries) == (("humidity", (2, 3)),)
    assert log_remarks(series, entries, TODAY) == ("humidity is blank for melts 2 and 3, and on record for others",)
    assert log_remarks(series, entries[1:3], TODAY) == (), "known for none: it was not looked at"
    assert log_remarks(series, entries[:1], TODAY) == ()


def test_how_it_was_before_a_factor_was_one_is_no_slip(series):
    flux = replace(series.factors[1], earlier=10.0)
    later = replace(series, factors=(series.factors[0], flux))
    entry = replace(made(1), settings={"peak": 1200.0, "flux": 10.0})
    assert entry_remarks(later, entry, TODAY) == ()
    assert entry_remarks(series, entry, TODAY) == ("flux 10 wt% lies outside 15 to 40",)


def test_two_peaks_in_one_firing_are_remarked_on(series):
    shared = replace(series, factors=(replace(series.factors[0], set_per="firing"), series.factors[1]))
    first, second = made(1, peak=1200.0), replace(made(2, peak=1150.0), firing=1)
    said = ("peak 1150 °C, though melt 1 of the same firing has peak 1200 °C",)
    assert firing_remarks(shared, (first, second), second) == said
    assert firing_remarks(shared, (first, second), first) == (), "said once"
    assert firing_remarks(series, (first, second), second) == (), "set anew for every melt"
    assert log_remarks(shared, (first, second), TODAY) == (f"melt 2: {said[0]}",)


def test_what_was_weighed_is_said_only_where_it_was_not_the_recipe(series):
    weighed = replace(series, circumstances=(Circumstance("weighed"),), recipe=Recipe("obsidian", weighed="weighed"))
    assert circumstance_remarks(weighed, (made(1, weighed="obsidian 600 g"), made(2))) == ()
