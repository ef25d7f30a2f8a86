"""Advice in words and as a picture: what is said for every ending, in plain words, with its figures."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from invented_reports import case_of, chain_plan, nothing_melted, only_failures, whole_chain

from meltdoe.cli.advising import advice_document
from meltdoe.cli.console import plain
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.report.advice_sentences import (
    aim_sentence,
    best_words,
    firing_words,
    heading,
    tells,
    why_not_another,
    why_this_melt,
    why_verdict,
)
from meltdoe.report.figures.next_figures import information_picture
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.outlook_sentences import (
    bound_sentences,
    forecast_sentence,
    result_sentences,
    thin_sentences,
)
from meltdoe.series import Budget

CHAINS = {"whole chain": whole_chain, "no melts": nothing_melted, "only failures": only_failures}
CASES = [*CHAINS, "no plan", "two amounts", "only choices", "hostile names"]


@cache
def advised(case):
    chain = CHAINS[case]() if case in CHAINS else case_of(case)[0]
    return chain.series, next_melts(chain)


def everything_said(series, advice):
    return [
        why_verdict(series, advice),
        forecast_sentence(series, advice),
        aim_sentence(advice),
        *(why_this_melt(series, advice, melt) for melt in advice.melts),
        *why_not_another(series, advice),
        *bound_sentences(series, advice),
        *result_sentences(series, advice),
        *thin_sentences(series, advice),
    ]


@pytest.mark.parametrize("case", CASES)
def test_everything_is_said_in_plain_words_and_whole_sentences(case):
    series, advice = advised(case)
    for said in everything_said(series, advice):
        assert not re.search(r"\bnats?\b|\bbits?\b|\bnan\b|\binf\b|\bNone\b|  ", said), said
        assert said == "" or said.endswith(".")
        if "between" in said and "EUR" not in said:
            assert re.search(r"90 % probability|80 % of", said), said
    assert series.costs.known or not any("price" in said or "cost" in said for said in everything_said(series, advice))


@pytest.mark.parametrize("case", CASES)
def test_the_document_holds_all_of_it(case):
    series, advice = advised(case)
    document = plain(advice_document(series, advice))
    assert document["advice"]["reason"] == why_verdict(series, advice)
    if advice.verdict.ending != "reached":
        assert document["advice"]["forecast"].keys() >= {"melts", "low", "high", "never", "money", "horizon"}
    assert [way["chance"] for way in document["results"]] == [way.chance for way in advice.results]
    assert {spot["factor"] for spot in document["thin"]} <= set(series.factor_names)
    assert document["melts"][0]["why"]


def test_one_tells_as_much_as_a_fair_coin():
    assert tells(np.log(2.0)) == "1.00"
    assert tells(0.0) == "0.00"


def test_results_are_told_with_their_chances():
    series, advice = advised("whole chain")
    said = result_sentences(series, advice)
    assert len(said) == len(advice.results)
    assert said[0].startswith("If contained turns out bad (chance ")
    assert said[-1].startswith("If everything is good (chance ")


def test_melts_of_the_plan_are_told():
    """Melt 8 of the plan is still to be made; nothing is in a begun firing."""
    series = whole_chain().series
    advice = next_melts(whole_chain(), planned=chain_plan().melts)
    said = " ".join(bound_sentences(series, advice))
    assert "Melt 8 of the plan is still to be made." in said
    assert "has begun" not in said


def test_the_ceiling_on_risk_is_explained():
    series = whole_chain().series
    said = " ".join(bound_sentences(series, next_melts(whole_chain(), most_risk=0.2)))
    assert "keep the chance of a costly failure at or below 20 %" in said
    assert "the best setting so far" in said
    none = " ".join(bound_sentences(series, next_melts(whole_chain(), most_risk=0.0)))
    assert "No setting keeps the chance of a costly failure at or below 0 %" in none


def said_of(planned=(), most_risk=None, count=None, **budget):
    """All that is said of the whole chain (8 melts in 5 firings or so) under another budget."""
    chain = whole_chain()
    series = replace(chain.series, budget=Budget(currency="EUR", **budget))
    other = replace(chain, series=series, log=Log(series, chain.log.entries))
    advice = next_melts(other, planned=planned, most_risk=most_risk, count=count)
    return series, advice, " ".join(everything_said(series, advice))


def test_the_bound_of_the_budget_that_binds_is_named():
    chain = whole_chain()
    firings = len({entry.firing for entry in chain.log.entries})
    _, advice, said = said_of(melts=30, firings=firings + 1)
    assert advice.room.by == ("firings",)
    assert "the budget's last firing has room for" in said
    assert "melts that the budget has left" not in said
    _, advice, said = said_of(melts=30, money=2000.0)
    if advice.room.by == ("money",):
        assert "that the money left" in said


def test_no_firing_is_numbered_beyond_the_budget():
    firings = len({entry.firing for entry in whole_chain().log.entries})
    series, advice, said = said_of(melts=30, firings=firings)
    assert advice.verdict.ending == "firings spent"
    assert f"The budget of {firings} firings is used up." in said
    assert "has left" not in said
    assert [firing_words(advice, melt) for melt in advice.melts] == ["Firing beyond the budget"]
    document = plain(advice_document(series, advice))
    assert [melt["firing"] for melt in document["melts"]] == [None]


def test_before_any_melt_there_is_a_guess_and_no_best_setting_so_far():
    series, advice = advised("no melts")
    said = " ".join(everything_said(series, advice))
    assert said.startswith("No melt has been made yet. By what was assumed, the chance that the best guess succeeds")
    assert "so far" not in said
    assert len(re.findall(r"no melt", said, flags=re.IGNORECASE)) == 1
    assert best_words(advice) == "best guess before any melt"


def test_a_plan_that_goes_over_the_ceiling_is_not_urged():
    chain = whole_chain()
    advice = next_melts(chain, planned=chain_plan().melts, most_risk=0.0)
    said = " ".join(bound_sentences(chain.series, advice))
    keeps = advice.planned.melts[0].risk <= max(melt.risk for melt in advice.melts)
    told = advice.verdict.word == "go on" and not keeps and not advice.planned.broken
    assert ("over the ceiling on that risk" in said) == told
    assert advice.follows_plan <= keeps


def test_a_target_that_no_workshop_can_show_is_said_to_be_too_high():
    series, advice = advised("whole chain")
    assert "more than a workshop can show" not in why_verdict(series, advice)
    high = replace(series, target_chance=0.995)
    assert "A target of 99.5 % is more than a workshop can show: without a model it would take 460" in why_verdict(
        high, advice
    )


@pytest.mark.parametrize("case", CASES)
def test_the_map_of_information_says_what_it_shows(case):
    series, advice = advised(case)
    picture = information_picture(advice.outlook.chain, advice)
    told = [float(value) for value in re.findall(r"(?:between|and|tell) (\d\.\d\d)", picture.alt)]
    assert len(told) == 3
    assert told[0] <= told[1]
    assert picture.alt.endswith(".")
    assert picture.name == "information-map"
    assert ("Hatched" in picture.caption) <= bool(series.limits)
    wide, tall = picture.figure.get_size_inches()
    picture.figure.canvas.draw()
    if case != "hostile names":
        box = picture.figure.get_tightbbox()
        assert box.x0 > -0.03
        assert box.y0 > -0.03
        assert box.x1 < wide + 0.03
        assert box.y1 < tall + 0.03


def test_the_same_advice_gives_the_same_bytes():
    chain = whole_chain()
    first, again = (standalone_svg(information_picture(chain, next_melts(chain))) for _ in range(2))
    assert first == again


def test_the_best_guess_is_offered_as_a_last_try():
    series, advice = advised("whole chain")
    last = replace(advice, verdict=replace(advice.verdict, ending="go on", reachable=0.03, last_try=True), planned=None)
    assert heading(last) == "TRY THE BEST GUESS, THEN DECIDE"
    said = why_verdict(series, last)
    assert "any setting at all succeeds at least" in said
    assert "is 3 %" in said
    assert "no melt was made near the best setting so far" in said
    assert said.endswith("Try it before giving up.")
    assert aim_sentence(last) == "Aim: melt the best setting so far once."
    assert not any("For the aim" in line for line in why_not_another(series, last))
