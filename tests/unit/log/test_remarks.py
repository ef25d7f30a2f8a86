"""What is worth a second look: settings beyond range and limit, dates to come, circumstances left blank."""

import datetime

import pytest

from meltdoe.log.melt_log import Entry
from meltdoe.log.remarks import circumstance_remarks, entry_remarks, log_remarks
from meltdoe.series import Amount, Circumstance, Limit, MeltSeries, Outcome, Unseen
from meltdoe.series.limit_parser import parse_comparison

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
