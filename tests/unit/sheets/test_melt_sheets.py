"""Melt sheets: one page a melt in the order of the work, every word of an outcome, the cautions, nothing that runs."""

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pytest

from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series import (
    Amount,
    Choice,
    Circumstance,
    GoodRange,
    Kiln,
    Limit,
    MeltSeries,
    Outcome,
)
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.sheets.melt_sheet import melt_sheets, sheets_page
from meltdoe.sheets.series_cautions import cautions_of

KEEP = "flux + 0.1 * peak <= 160"


def kiln_series(**changes):
    given = {
        "title": "Invented block",
        "factors": (
            Amount("peak", 1100, 1250, label="Peak temperature", unit="°C", set_per="firing"),
            Amount("flux", 15, 40, label="Soda ash", unit="wt%"),
            Choice("sand", ("coarse", "fine"), label="Sand of the mould"),
        ),
        "outcomes": (
            Outcome("contained", "pass", question="Did the charge stay in the crucible?"),
            Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=95)),
            Outcome("cracks", "grade", grades=("none", "hairline", "open"), after="fill", good=("none", "hairline")),
        ),
        "kiln": Kiln(melts_per_firing=2),
        "limits": (Limit(KEEP, "it boils over", parse_comparison(KEEP)),),
        "circumstances": (Circumstance("humidity", unit="%"), Circumstance("pot", options=("old", "new"))),
    }
    return MeltSeries(**{**given, **changes})


def planned(series, order=(2, 1, 4, 3)):
    """Four melts, two a firing, numbered otherwise than they are worked."""
    melts = tuple(
        PlannedMelt(
            i + 1, 1 + i // 2, place, {"peak": 1200.0 + 10 * (i // 2), "flux": 20.0 + i, "sand": "fine"}, "fraction"
        )
        for i, place in enumerate(order)
    )
    return Plan(series, melts, "fraction", reason="a first look", seed=7)


class Reading(HTMLParser):
    """Tags and the text between them; fails on a tag that is closed without having been opened."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.text, self.open = [], "", []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_one_sheet_a_melt_in_the_order_of_the_work():
    sheets = melt_sheets(planned(kiln_series()), done=[3])
    assert [sheet.melt.melt for sheet in sheets] == [2, 1, 4, 3]
    assert [sheet.beside for sheet in sheets] == [(1,), (2,), (3,), (4,)]
    assert [sheet.done for sheet in sheets] == [False, False, False, True]
    page = sheets_page(planned(kiln_series()), done=[3])
    assert re.findall(r'<h2 id="melt-(\d+)">', page) == ["2", "1", "4", "3"]
    assert page.count("Already on record.") == 1


def test_a_sheet_says_what_to_set_with_units_and_what_the_firing_shares():
    (first, *_) = melt_sheets(planned(kiln_series()))
    assert [(line.title, line.planned, line.unit, line.shared) for line in first.settings] == [
        ("Peak temperature", "1200 °C", "°C", True),
        ("Soda ash", "21 wt%", "wt%", False),
        ("Sand of the mould", "fine", "", False),
    ]
    assert first.circumstances == ("humidity (%)", "pot: old / new")


def test_a_sheet_asks_for_every_outcome_in_its_own_words():
    contained, fill, cracks = melt_sheets(planned(kiln_series()))[0].outcomes
    assert (contained.title, contained.words, contained.only_if) == (
        "Did the charge stay in the crucible?",
        ("yes", "no"),
        "",
    )
    assert (fill.words, fill.unit, fill.only_if, fill.good) == ((), "%", "only if contained was yes", "at least 95 %")
    assert cracks.words == ("none", "hairline", "open")
    assert cracks.only_if == "only if fill was at least 95 %"
    assert cracks.good == "none or hairline"


def test_the_page_has_a_box_for_every_word_and_for_later_and_lost():
    reading = Reading(sheets_page(planned(kiln_series())))
    assert not reading.open
    boxes = [attrs for _, attrs in reading.tags if attrs.get("class") == "box"]
    per_melt = (2 + 2) + (0 + 2) + (3 + 2)  # words of each outcome, later and lost
    assert len(boxes) == 4 * per_melt
    for word in ("yes", "no", "none", "hairline", "open", "later", "lost"):
        assert f'class="box"></span>{word}</span>' in sheets_page(planned(kiln_series()))


def test_a_box_is_not_ticked_and_an_actual_setting_not_filled_in_beforehand():
    page = sheets_page(planned(kiln_series()))
    cells = re.findall(r'<td class="fill">(.*?)</td>', page)
    assert set(cells) == {"°C", "wt%", ""}


def test_cautions_stand_on_the_last_page_and_the_one_that_defers_comes_last():
    series = kiln_series()
    cautions = cautions_of(series)
    assert cautions[-1].id == "defer"
    assert len(cautions) > 3, "soda, crucibles and 1250 °C call for some"
    page = sheets_page(planned(series))
    listed = [unescape(item) for item in re.findall(r"<li><strong>(.*?)\.</strong>", page)]
    assert [item.lower() for item in listed] == [f"{one.short}: {one.hazard}".lower() for one in cautions]
    for caution in cautions[:-1]:
        assert page.count(caution.short) >= 4, "every melt names it by the words under which it stands on the last page"
    assert page.rindex('id="cautions"') > page.rindex('id="melt-')
    assert "local codes and ask qualified people" in Reading(page).text
    assert "it boils over" in Reading(page).text, "limits are said where the work is done"


def test_even_harmless_work_defers_to_local_codes():
    harmless = MeltSeries("Tasting", (Choice("cup", ("red", "blue")),), (Outcome("liked", "pass"),))
    assert [caution.id for caution in cautions_of(harmless)][-1] == "defer"
    page = sheets_page(Plan(harmless, (PlannedMelt(1, 1, 1, {"cup": "red"}, ""),), "by hand", seed=1))
    assert cautions_of(harmless)[-1].what_to_do.split(";")[0].removeprefix("follow") in unescape(page)


def test_heat_is_heat_in_either_unit():
    celsius = MeltSeries("Tasting", (Amount("oven", 400, 1250, unit="°C"),), (Outcome("liked", "pass"),))
    fahrenheit = MeltSeries("Tasting", (Amount("oven", 752, 2282, unit="°F"),), (Outcome("liked", "pass"),))
    cool = MeltSeries("Tasting", (Amount("oven", 40, 90, unit="°F"),), (Outcome("liked", "pass"),))
    assert [c.id for c in cautions_of(celsius)] == [c.id for c in cautions_of(fahrenheit)]
    assert len(cautions_of(cool)) < len(cautions_of(fahrenheit))


def test_a_kiln_that_overshoots_its_range_is_cautioned_for_as_hot_as_it_is():
    series = MeltSeries("Tasting", (Amount("oven", 50, 90, unit="°F"),), (Outcome("liked", "pass"),))
    hot = Plan(series, (PlannedMelt(1, 1, 1, {"oven": 2282.0}, ""),), "by hand", seed=1)
    cool = Plan(series, (PlannedMelt(1, 1, 1, {"oven": 60.0}, ""),), "by hand", seed=1)
    assert sheets_page(hot).count("<li>") > sheets_page(cool).count("<li>")


HOSTILE = '<script>alert("x")</script>&\'<img src=x onerror=alert(1)>{{ 7 * 7 }}'


@pytest.mark.parametrize("place", ["title", "label", "option", "question", "grade", "why", "circumstance", "purpose"])
def test_hostile_words_are_shown_and_never_run(place):
    series = kiln_series()
    peak, flux, sand = series.factors
    contained, fill, cracks = series.outcomes
    sand_used = "fine"
    if place == "title":
        series = replace(series, title=HOSTILE)
    elif place == "label":
        series = replace(series, factors=(replace(peak, label=HOSTILE), flux, sand))
    elif place == "option":
        series, sand_used = replace(series, factors=(peak, flux, replace(sand, options=(HOSTILE, "b")))), HOSTILE
    elif place == "question":
        series = replace(series, outcomes=(replace(contained, question=HOSTILE), fill, cracks))
    elif place == "grade":
        series = replace(series, outcomes=(contained, fill, replace(cracks, grades=("none", HOSTILE), good=("none",))))
    elif place == "why":
        series = replace(series, limits=(replace(series.limits[0], why=HOSTILE),))
    elif place == "circumstance":
        series = replace(series, circumstances=(Circumstance("pot", label=HOSTILE),))
    purpose = HOSTILE if place == "purpose" else "fraction"
    melt = PlannedMelt(1, 1, 1, {"peak": 1200.0, "flux": 20.0, "sand": sand_used}, purpose)
    reading = Reading(sheets_page(Plan(series, (melt,), "by hand", seed=1)))
    tags = {tag for tag, _ in reading.tags}
    assert not tags & {"script", "img", "link", "iframe", "object"}
    assert not any(name.startswith("on") or name in ("src", "href") for _, attrs in reading.tags for name in attrs)
    assert HOSTILE in reading.text
    assert "49" not in re.sub(r"\s+", " ", reading.text).split("Cautions for this series")[0]


def test_the_page_stands_alone_and_is_the_same_every_time():
    page = sheets_page(planned(kiln_series()))
    assert page == sheets_page(planned(kiln_series()))
    assert "http" not in page.split("<main>")[0]
    assert "url(" not in page
    assert "@import" not in page
    assert '<meta charset="utf-8">' in page
    assert '<html lang="en">' in page
