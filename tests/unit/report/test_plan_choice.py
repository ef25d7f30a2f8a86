"""The plans that could have been taken, in the report: only where had quickly, and with the real one judged."""

from dataclasses import replace

import pytest
from invented_reports import advice_for, chain_plan, forty_plan, nothing_melted, whole_chain

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.report.figure_files import pictures_of
from meltdoe.report.plans_compared import choice_sentences, options_table, own_option, plans_compared
from meltdoe.report.report_files import report_files
from meltdoe.series import Costs


def test_the_plan_of_the_series_stands_among_the_others_as_it_really_is():
    plan = chain_plan()
    compared = plans_compared(plan)
    own = compared.option(own_option(plan))
    assert own.plan is plan
    assert own.power == assess(plan, effect=compared.effect, chances=compared.chances_shown).power_pass
    assert len({option.name for option in compared.options}) == len(compared.options) >= 4
    marked = [row[0] for row in options_table(compared, plan).rows if "(this series)" in row[0]]
    assert marked == ["Fraction (this series)"]


def test_a_plan_made_by_hand_is_compared_too():
    plan = replace(chain_plan(), design="by hand", reason="")
    compared = plans_compared(plan)
    assert compared.option("by hand, 8 melts").plan is plan
    assert any(option.design == "full" for option in compared.options)


def test_what_speaks_for_the_plan_is_said_in_figures():
    plan = replace(chain_plan(), design="by hand", reason="", melts=chain_plan().melts[:5])
    compared = plans_compared(plan)
    own = compared.option(own_option(plan))
    dearer = max(compared.options, key=lambda option: option.cost.total)
    said = " ".join(choice_sentences(replace(compared, recommended=dearer.name, reason="because."), plan))
    assert f"leaves {dearer.melts - own.melts} more melts for following up" in said
    assert f"costs {dearer.cost.total - own.cost.total:.0f} EUR less" in said
    same = " ".join(choice_sentences(replace(compared, recommended=own.name, reason="because."), plan))
    assert "it is also the one to take: because." in same
    assert "Against that one" not in same


def test_no_comparison_where_a_search_would_take_long_or_nothing_was_planned():
    assert plans_compared(forty_plan()) is None
    assert plans_compared(replace(chain_plan(), melts=())) is None


@pytest.mark.parametrize("melted", [True, False])
def test_the_report_shows_the_comparison_with_its_figure(melted):
    chain = whole_chain() if melted else nothing_melted()
    plan = chain_plan()
    files = report_files(chain, plan, advice_for(chain), extras=["png"])
    page = files["report.html"]
    assert "Why this plan and not another" in page
    assert 'data-name="plan-options"' in page
    assert "<svg" in files["figures/plan-options.svg"]
    assert files["figures/plan-options.png"].startswith(b"\x89PNG")
    without = report_files(chain, None, advice_for(chain))
    assert "figures/plan-options.svg" not in without
    assert "Why this plan" not in without["report.html"]


def test_the_figure_tells_the_plan_of_the_series_and_speaks_of_money_only_where_there_are_prices():
    plan = chain_plan()
    compared = plans_compared(plan)
    shown = pictures_of(whole_chain(), plan, None, None, compared)[0]
    assert shown.name == "plan-options"
    assert shown.alt.endswith("Taken: fraction, 8 melts.")
    bold = [text.get_text() for text in shown.figure.axes[0].texts if text.get_fontweight() == "bold"]
    assert [text.removeprefix("★ ") for text in bold] == ["fraction", "8"]
    assert "Cost: to expect" in shown.caption
    free = replace(plan.series, costs=Costs())
    cheap = make_plan(free, "fraction", 8)
    unpriced = pictures_of(whole_chain(), cheap, None, None, plans_compared(cheap))[0]
    words = [text.get_text() for text in unpriced.figure.texts]
    assert "at worst" not in words
    assert "Cost" not in unpriced.caption
