"""What is said about a fitted chain; every series is invented."""

from __future__ import annotations

import pytest

from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.sentences import (
    best_sentence,
    chain_sentences,
    counted_sentence,
    not_told_apart_sentences,
    risk_sentence,
    separation_sentences,
    stage_sentences,
)
from meltdoe.series import Amount, Choice, MeltSeries, Outcome

FACTORS = (Amount("flux", 15, 40, unit="wt%", step=5), Choice("packing", ("tight", "edge")))
OUTCOMES = (Outcome("contained", "pass"), Outcome("no_bubbles", "pass", after="contained"))
SERIES = MeltSeries("invented", FACTORS, OUTCOMES, target_chance=0.8)


def fitted(rows: list[tuple[float, str, bool, bool]]) -> ChainFit:
    entries = tuple(
        Entry(i, i, {"flux": flux, "packing": packing}, {"contained": a, **({"no_bubbles": b} if a else {})})
        for i, (flux, packing, a, b) in enumerate(rows, 1)
    )
    return fit_chain(SERIES, Log(SERIES, entries))


@pytest.fixture(scope="module")
def chain() -> ChainFit:
    flux = (15.0, 20, 25, 30, 35, 40, 15, 40)
    return fitted([(f, ("tight", "edge")[i % 2], f < 38, i % 2 == 1) for i, f in enumerate(flux)])


def test_three_of_three_is_given_its_honest_lower_bound() -> None:
    """0.1 ** (1/3) = 0.464: with a smaller chance, three of three would be seen less than one time in ten."""
    stage = fitted([(20.0, "tight", True, True)] * 3).stage("contained")
    assert counted_sentence(stage) == (
        "Contained: 3 of 3 were good, which proves no more than a chance of at least 46 % (90 % confidence)."
    )


def test_none_of_four_still_allows_a_chance() -> None:
    """1 - 0.1 ** (1/4) = 0.438."""
    text = counted_sentence(fitted([(20.0, "tight", False, True)] * 4).stage("contained"))
    assert "0 of 4 were good, which still allows a chance of up to 44 %" in text


def test_some_good_gives_two_exact_limits() -> None:
    """Clopper-Pearson at 90 % for 1 of 4: 0.0127 and 0.7514 (solved from the binomial tail: 1 - (1-p)^4 = 0.05 and
    (1-p)^4 + 4 p (1-p)^3 = 0.05)."""
    rows = [(20.0, "tight", i == 0, True) for i in range(4)]
    assert "between 1 % and 75 %" in counted_sentence(fitted(rows).stage("contained"))


def test_an_outcome_never_reached_is_said_to_be_unseen() -> None:
    assert counted_sentence(fitted([(20.0, "tight", False, True)]).stage("no_bubbles")) == (
        "No bubbles: no melt has been seen for it yet."
    )


def test_the_best_setting_comes_with_chance_interval_and_target(chain: ChainFit) -> None:
    best = chain.best()
    text = best_sentence(chain, best)
    assert text.startswith(f"Best setting so far: {SERIES.show(best.settings)}. Chance of success there ")
    assert "with 90 % probability" in text
    assert "80 % wanted" in text


def test_the_risk_is_named_and_splits_carry_their_melts(chain: ChainFit) -> None:
    assert risk_sentence(chain, chain.best()).startswith("The largest part of the remaining risk lies in ")
    splits = separation_sentences(chain)
    assert any("Flux alone splits contained" in text and "melts 6 and 8" in text for text in splits)
    assert any("Packing alone splits no bubbles" in text for text in splits)


def test_an_effect_speaks_of_chances_and_points(chain: ChainFit) -> None:
    text = chain.stage("no_bubbles").effects[1].sentence
    assert text.startswith("Packing edge instead of tight: chance of no bubbles from ")
    assert "; the change is between " in text
    assert text.endswith(" points with 90 % probability.")
    assert all("p =" not in line and "p <" not in line for line in stage_sentences(chain.stage("no_bubbles")))


def test_what_cannot_be_told_apart_is_said_once_for_each_outcome() -> None:
    chain = fitted([(f, "edge" if f > 20 else "tight", i % 3 > 0, True) for i, f in enumerate((15.0, 40.0) * 4)])
    texts = not_told_apart_sentences(chain)
    assert texts.count("Contained: flux and packing were changed together: their effects cannot be told apart.") == 1
    assert set(texts) <= set(chain_sentences(chain))


def test_before_the_first_melt_there_is_a_guess_and_nothing_is_said_twice():
    chain = fitted([])
    best = chain.best()
    assert best_sentence(chain, best).startswith("Best guess before any melt, by what was assumed: ")
    for stage in chain.stages:
        said = stage_sentences(stage)
        assert said[0].endswith("no melt has been seen for it yet.")
        assert not any("been seen" in sentence for sentence in said[1:])
