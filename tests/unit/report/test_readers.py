"""For whom the report is written: own sections and words, one set of numbers; doubts, failures, diary, unseen words."""

import re
from dataclasses import replace
from functools import cache

import pytest
from invented_reports import (
    CHAIN_SERIES,
    LATER,
    LOST,
    NOT_REACHED,
    Page,
    case_of,
    chain_log,
    chain_plan,
    drawn_for,
    page_for,
    pictures_for,
    two_amounts,
    whole_chain,
)

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.audiences import AUDIENCES
from meltdoe.report.diary import diary_of
from meltdoe.report.failures import failure_table
from meltdoe.report.further_melts import further_sentences
from meltdoe.report.html import report_page
from meltdoe.report.notebook import advice_html, chain_html, plan_html, register
from meltdoe.report.sections import _recommended, report_of
from meltdoe.report.seen_words import seen_words

READERS = [reader for reader in AUDIENCES if reader]


@cache
def report():
    return report_of(*case_of("whole chain"), pictures_for("whole chain"))


@cache
def page_of(reader):
    return report_page(report(), drawn_for("whole chain"), reader)


@pytest.mark.parametrize("reader", READERS)
def test_a_readers_page_has_its_own_sections_and_the_same_chance(reader):
    page = Page(page_of(reader))
    titles = re.sub(r"\s+", " ", page.text("h2"))
    for section in AUDIENCES[reader].sections:
        assert section.title in titles
    recommended = report().recommended
    chance = recommended.plain if reader == "gallery" else recommended.sentences[0].split(";")[0]
    assert chance in " ".join(page.text("p", "li").replace("\u00a0", " ").split())
    assert set(re.findall(r"\d+ %", recommended.sentences[0].split("with 90 %")[0])) <= set(
        re.findall(r"\d+ %", recommended.plain)
    )
    assert AUDIENCES[reader].says in page.text("p")


def test_every_table_on_a_readers_page_stands_in_the_data_of_the_report():
    whole = {re.sub(r"Table \d+\. ", "", c) for c in captions(page_for("whole chain"))}
    for reader in READERS:
        own = {re.sub(r"Table \d+\. ", "", c) for c in captions(page_of(reader))}
        assert own - whole <= {report().failures.caption}


def captions(page):
    return [re.sub(r"<.*?>", "", c) for c in re.findall(r"<caption.*?>(.*?)</caption>", page, re.DOTALL)]


def test_each_reader_finds_what_they_look_for():
    assert "What failed, and how" in page_of("maker")
    assert report().failures.rows[1][-1] == "Leaked at 1210 °C."
    assert "Weeping and crizzling" in page_of("gallery")
    assert "Posterior" not in page_of("gallery")
    assert "This is a designed experiment" in page_of("journal")
    assert "Not shown to be met." in page_of("course")
    assert "Planned was peak 1240\u00a0°C." in page_of("course")


def test_failures_stand_with_stage_and_note():
    table = failure_table(chain_log())
    assert [row[0] for row in table.rows] == ["1", "3", "4", "5"]
    assert [row[2] for row in table.rows] == ["fill", "contained", "cracks", "fill"]
    assert table.rows[0][3] == "70 %"


def test_the_diary_tells_purpose_settings_and_end():
    third = next(day for day in diary_of(chain_log(), chain_plan()) if day.title.startswith("Melt 3,"))
    assert third.title == "Melt 3, firing 3, 2026-09-03"
    assert third.sentences[0] == "Purpose in the plan: fraction. Planned was peak 1240 °C."
    assert third.sentences[-1] == "It failed at contained."
    assert third.note == "Leaked at 1210 °C."


@pytest.mark.parametrize(
    ("fill", "cracks", "said"),
    [
        (70.0, NOT_REACHED, "not reached"),
        (LATER, NOT_REACHED, "not known (fill later)"),
        (LOST, NOT_REACHED, "not known (fill lost)"),
        (95.0, LATER, "later"),
        (95.0, LOST, "lost"),
        (95.0, NOT_REACHED, "not noted"),
        (95.0, "hairline", "hairline"),
    ],
)
def test_why_nothing_was_seen_is_kept_apart(fill, cracks, said):
    entry = Entry(1, 1, {}, {"contained": True, "fill": fill, "cracks": cracks})
    assert seen_words(CHAIN_SERIES, CHAIN_SERIES.outcome("cracks"), entry) == said


def test_a_sceptical_reader_gets_an_answer_to_every_question():
    doubts = {passage.title: " ".join(passage.sentences) for passage in report().doubts}
    assert list(doubts) == [
        "Was the order random?", "Were failures left out?", "Could the firing or the day explain it?",
        "How much rests on one melt?", "Would another model say otherwise?", "What would change the conclusion?",
    ]  # fmt: skip
    assert "drawn by lot (seed 11)" in doubts["Was the order random?"]
    assert "4 failed somewhere (melts 1 and 3 to 5)" in doubts["Were failures left out?"]
    assert "Planned but not made: melt 8." in doubts["Were failures left out?"]
    by_day = doubts["Could the firing or the day explain it?"]
    assert "8 melts came from 8 firings on 8 days" in by_day
    assert "Every firing had a day of its own" in by_day
    assert "Without any model: of the 3 castings" in doubts["Would another model say otherwise?"]


def test_the_gallery_is_spared_the_words_of_statistics():
    page = Page(page_of("gallery"))
    said = page.text("p", "li", "td", "figcaption").lower()
    for word in ("posterior", "interval", "probability", "confidence", "log odds", "quick fits", "osha", "n = "):
        assert word not in said, word
    assert "Did the charge stay in the crucible? Yes: 7 of 8 that got so far." in page.text("li")
    hazards = " ".join(page.text("strong").split())  # on the page a no-break space keeps number and unit on one line
    assert all(row[0] in hazards for row in report().cautions.rows)


def test_a_melt_at_the_recommended_setting_is_counted_even_while_its_end_is_open():
    chain = whole_chain()
    best = replace(chain.best(), raw=chain.log.raw[5])  # its cracks are still to come
    made = _recommended(chain, best).sentences[2]
    assert made == "1 melt has been made at exactly this setting: 0 good throughout, 0 not, 1 not known to the end."


def test_a_missing_melt_is_noticed():
    log = chain_log()
    fewer = replace(log, entries=tuple(entry for entry in log.entries if entry.melt != 4))
    without = replace(whole_chain(), log=fewer)
    from meltdoe.report.doubts import _left_out

    assert any("gaps that nothing explains: melts 4 and 8" in said for said in _left_out(without.log, None))


def test_further_failures_lower_the_chance_and_further_good_melts_raise_it():
    chain = whole_chain()
    failing, holding = further_sentences(chain, chain.best())
    start, one, three = [int(n) for n in re.findall(r"(\d+) %", failing)]
    assert start > one > three
    assert int(re.findall(r"(\d+) %", holding)[0]) > start


def test_what_further_melts_would_do_is_what_a_fit_with_them_says():
    """Three more melts of a pass/fail series at its best setting, failing and good, against fits that hold them."""
    chain = two_amounts()
    best = chain.best()
    failing, holding = further_sentences(chain, best)
    stated = [int(n) for n in re.findall(r"(\d+) %", failing)], [int(n) for n in re.findall(r"(\d+) %", holding)]
    for good, told in ((False, stated[0][2]), (True, stated[1][0])):
        more = tuple(Entry(20 + k, 20 + k, best.settings, {"poured": good}) for k in range(3))
        again = fit_chain(chain.series, Log(chain.series, (*chain.log.entries, *more)), n_draws=8000)
        assert told / 100 == pytest.approx(float(again.success_draws(best.raw).mean()), abs=0.04)


def test_a_notebook_shows_plans_fits_and_advice_without_markup_of_theirs():
    chain, plan, advice = case_of("whole chain")
    shown = {}

    class Formatter:
        def for_type_by_name(self, module, name, function):
            shown[f"{module}.{name}"] = function

    class Shell:
        class display_formatter:  # noqa: N801
            formatters = {"text/html": Formatter()}  # noqa: RUF012

    register(Shell)
    for result, function in ((chain, chain_html), (plan, plan_html), (advice, advice_html)):
        kind = type(result)
        assert shown[f"{kind.__module__}.{kind.__name__}"] is function
        assert Page(function(result)).open == []
    assert "Best setting so far" in chain_html(chain)
    assert "<caption>The plan</caption>" in plan_html(plan)
    assert "43 %" in advice_html(advice)
    hostile = chain_html(case_of("hostile names")[0])
    assert not re.search(r"<(script|img|u|svg|best)\b", hostile)
