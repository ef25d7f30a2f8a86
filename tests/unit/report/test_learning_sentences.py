"""Findings in words; every series and figure is invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from meltdoe.fit.checks.belief_check import BeliefCheck, BelievedChance, ChanceRange
from meltdoe.fit.checks.drift import Drift, drifts
from meltdoe.fit.checks.influence import Influence, MeltInfluence, Surprise
from meltdoe.fit.checks.model_checks import RepeatCheck
from meltdoe.fit.checks.past_predictions import Forecast, PastPredictions
from meltdoe.fit.classical.agreement import weighted_kappa
from meltdoe.fit.classical.half_normal import Curvature, lenth
from meltdoe.fit.classical.least_squares import LackOfFit
from meltdoe.fit.classical.proportional_odds import ProportionalityTest
from meltdoe.fit.learning import learning
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.fit.stages.two_level_plan import TwoLevelAnalysis, TwoLevelEffect
from meltdoe.log.melt_log import Entry, Log
from meltdoe.plans.merits.aliasing import AliasGroup
from meltdoe.report.belief_sentences import belief_sentences
from meltdoe.report.learning_sentences import (
    drift_sentences,
    influence_sentences,
    learning_passages,
    past_sentences,
    past_table,
    surprise_sentences,
)
from meltdoe.report.model_sentences import (
    agreement_sentence,
    proportionality_sentence,
    repeat_sentences,
    two_level_sentences,
)
from meltdoe.series import Amount, Belief, Choice, GoodRange, MeltSeries, Outcome

FACTORS = (Amount("flux", 15, 40, unit="wt%", step=5), Choice("packing", ("tight", "edge")))
POURED = Outcome("poured", "pass")
FILL = Outcome("fill", "measured", unit="%", after="poured", good=GoodRange(low=90))
CRACKS = Outcome("cracks", "grade", grades=("none", "hairline", "open"), after="poured", good=("none",))
SERIES = MeltSeries("invented", FACTORS, (POURED, FILL, CRACKS), target_chance=0.8)
ENTRIES = tuple(
    Entry(i, i, {"flux": 15.0 + 5 * (i % 6), "packing": "tight"}, {"poured": i % 3 > 0, "fill": 57.6, "cracks": "open"})
    for i in range(1, 7)
)


@pytest.fixture(scope="module")
def chain() -> ChainFit:
    series = replace(SERIES, outcomes=(POURED,))
    entries = (replace(e, seen={"poured": e.seen["poured"]}) for e in ENTRIES)
    return fit_chain(series, Log(series, tuple(entries)), n_draws=800)


def best(flux: float = 20.0, chance: float = 0.61, reaches: float = 0.3) -> BestSetting:
    settings = {"flux": flux, "packing": "tight"}
    return BestSetting(settings, np.array([flux, 0.0]), chance, 0.2, 0.9, reaches)


def left_out(melt: int, **changes: object) -> MeltInfluence:
    plain = MeltInfluence(melt, best(), 0.6, other_setting=False, verdict_changes=False, refitted=())
    return replace(plain, **changes)  # type: ignore[arg-type]


def test_a_deciding_melt_is_named_with_the_setting_it_keeps_away(chain: ChainFit) -> None:
    telling = left_out(6, best=best(30.0, 0.55), chance_at_present_best=0.41, other_setting=True)
    found = Influence(best(), (left_out(5), telling), (), 0.0)
    assert influence_sentences(chain, found) == (
        "Without melt 6 the best setting would be flux 30 wt%, with a chance of success of 55 %; the present one would "
        "have 41 % instead of 61 %.",
    )


def test_a_melt_that_only_turns_the_verdict_is_named_too(chain: ChainFit) -> None:
    turned = left_out(3, best=best(reaches=0.95), chance_at_present_best=0.88, verdict_changes=True)
    (text,) = influence_sentences(chain, Influence(best(reaches=0.7), (turned, left_out(4)), (), 0.0))
    assert "at the best setting would be 88 % instead of 61 %; the 80 % wanted would already count as reached." in text


def test_no_deciding_melt_is_said_with_the_spread(chain: ChainFit) -> None:
    found = Influence(best(), (left_out(1), left_out(2, chance_at_present_best=0.48)), (), 0.0)
    assert influence_sentences(chain, found) == (
        "No single melt decides the recommendation: without any one of them the chance at the best setting is 48 % to "
        "60 % instead of 61 %, and no other setting is clearly better. Most hangs on melt 2 (-13 points without it).",
    )
    assert influence_sentences(chain, Influence(best(), (left_out(1),), (), 0.0)) == ()


def test_surprises_are_named_by_what_was_seen() -> None:
    seen = (
        Surprise(ENTRIES[0], FILL, 0.021, "low"),
        Surprise(ENTRIES[1], CRACKS, 0.03, "high"),
        Surprise(ENTRIES[2], POURED, 0.04, "low"),
        Surprise(ENTRIES[3], POURED, 0.7, "high"),
    )
    said = surprise_sentences(Influence(best(), (), seen, 0.25))
    assert said == (
        "Surprise: melt 1 with fill 57.6 % or less; from the other melts that had a chance of 2 %.",
        "Surprise: melt 2 with cracks open; from the other melts that had a chance of 3 %.",
        "Surprise: melt 3 with poured no; from the other melts that had a chance of 4 %.",
        "Of 4 outcomes seen 3 were less likely than 5 %; about 0.2 would be expected if the model were right.",
    )
    (calm,) = surprise_sentences(Influence(best(), (), seen[3:], 0.1))
    assert calm.startswith("No melt is a surprise: of 1 outcomes seen none was less likely than 5 %")


def forecasts(chance: float, good: tuple[bool, ...]) -> PastPredictions:
    made = tuple(Forecast(entry, POURED, chance, g) for entry, g in zip(ENTRIES, good, strict=True))
    return PastPredictions(made, made)


def test_past_predictions_in_words() -> None:
    fair = past_sentences(forecasts(0.5, (True, False) * 3))
    assert (
        "of 6 that were then seen 3.0 were expected to be good and 3 were, a difference that chance alone explains."
        in fair[0]
    )
    assert fair[1] == "Stated under 50 %: none; stated 50 % or more: 3 of 6 good, 3.0 expected."
    assert "no better than saying 50 % each time (mean squared error 0.25 against 0.25)" in fair[2]
    assert fair[3] == "Full success was foretold for 3.0 of 6 and came for 3."
    assert "worse than foretold" in past_sentences(forecasts(0.9, (False,) * 6))[0]
    assert "better than foretold" in past_sentences(forecasts(0.1, (True,) * 6))[0]
    assert past_sentences(PastPredictions((), (), "4 melts are too few")) == ("4 melts are too few.",)


def test_the_table_of_forecasts_has_a_row_for_every_forecast() -> None:
    found = past_table(SERIES, forecasts(0.25, (True,) * 6))
    assert found is not None
    assert [column.title for column in found.columns] == ["Melt", "Outcome", "Chance stated before", "Came"]
    assert len(found.rows) == 12
    assert found.rows[0] == ("1", "poured", "25 %", "good")
    assert past_table(SERIES, PastPredictions((), ())) is None


def test_drift_in_words(chain: ChainFit) -> None:
    plain = Drift("poured", "no sign", 6, None, (), 0.1, 0.62)
    assert drift_sentences(chain, (plain,)) == (
        "Poured: no sign of drift, but 6 melts could not show less than 62 points from first to last.",
    )
    assert "could hardly have shown any" in drift_sentences(chain, (replace(plain, could_show=0.99),))[0]
    mixed = replace(plain, finding="mixed up", goes_along=("flux",))
    assert "the order of the melts goes along with flux" in drift_sentences(chain, (mixed,))[0]
    few = replace(plain, finding="too few")
    assert drift_sentences(chain, (few,)) == ("Too few melts to look for a drift in poured.",)


def test_a_drift_is_told_with_its_size_and_chance() -> None:
    series = replace(SERIES, outcomes=(POURED,))
    flux = [15.0, 40, 25, 35, 20, 30] * 2
    entries = tuple(Entry(i, i, {"flux": f, "packing": "tight"}, {"poured": i <= 6}) for i, f in enumerate(flux, 1))
    found = fit_chain(series, Log(series, entries))
    (text,) = drift_sentences(found, drifts(found))
    assert text.startswith(
        "Poured seems to drift over the series, first to last melt with the same settings: chance from "
    )
    assert "classical test p" in text


def test_beliefs_in_words() -> None:
    belief = Belief({"flux": 20.0}, "poured", 0.7, 1.0)
    ranges = [ChanceRange(0.5, 0.15, 0.6), ChanceRange(0.4, 0.2, 0.6), ChanceRange(0.3, 0.1, 0.5)]
    one = BelievedChance(belief, {"flux": 20.0, "packing": "tight"}, *ranges)
    check = BeliefCheck((one,), 0.9, best(), best(30.0, 0.66), ranges[2], ranges[0], other_setting=True)
    said = belief_sentences(SERIES, check)
    assert said[0] == (
        "Before any melt your beliefs put the chance of poured at flux 20 wt% between 15 % and 60 % with 90 % "
        "probability (you said 70 %, worth 1 melt); with the melts it is 40 % (20 % to 60 %), from the melts without "
        "beliefs 30 % (10 % to 50 %). The melts speak against this belief."
    )
    assert belief_sentences(SERIES, check, melted=False) == (said[0].partition("; with the melts")[0] + ".",)
    assert "61 % (20 % to 90 %) with your beliefs and 30 % (10 % to 50 %) without them" in said[1]
    assert "without them the best setting would be flux 30 wt%, 66 % (20 % to 90 %)" in said[1]


def test_two_level_effects_in_words() -> None:
    effects = [8.0, -0.2, 0.1, 0.3, -0.1, 0.2, -0.3]
    margins = lenth(effects, 0.9)
    told = [
        TwoLevelEffect(AliasGroup(("flux", "peak * hold"), (1, -1)), 8.0, stands_out=True, stands_out_of_all=True),
        TwoLevelEffect(AliasGroup(("peak",), (1,)), 0.3, stands_out=False, stands_out_of_all=False),
    ]
    bend = Curvature(-5.0, 0.5, 2, -10.0, 0.01, -6.5, -3.5, 0.9, 0.4)
    found = TwoLevelAnalysis("fill", "mm", (1, 2, 3, 4), (5, 6), tuple(told), margins, False, bend, "")
    said = two_level_sentences(found)
    assert said[0].startswith("Fill, 4 melts on two levels: flux +8 mm stands out of 2 effects (margin of one effect ")
    assert said[1] == "Flux is mixed up with -peak * hold: each such effect is a sum."
    assert said[2].startswith("Corners against the middle (melts 5 and 6): -5 mm (-6.5 to -3.5 mm with 90 % confidence")
    assert said[2].endswith("so fill bends between low and high.")
    none = two_level_sentences(
        replace(found, effects=tuple(told[1:]), few=True, curvature=None, why_no_curvature="no melt")
    )
    assert "none of 1 effects stands out" in none[0]
    assert none[-2:] == ["With only 1 effects these margins rest on little.", "Fill: no melt."]
    assert two_level_sentences(None) == []


def test_checks_of_the_model_in_words() -> None:
    test = LackOfFit(1.0, 2, 1.0, 3, 5.0, 0.02)
    repeats = RepeatCheck(((1, 2), (3, 4)), 0.7, 2, test, "")
    (text,) = repeat_sentences(repeats, "fill", "mm")
    assert text == (
        "Fill: repeats (melts 1 and 2; melts 3 and 4) scatter by 0.7 mm (2 degrees of freedom); the model misses by "
        "more than that (p = 0.020): something is left out of it."
    )
    assert "misses by no more" in repeat_sentences(replace(repeats, test=replace(test, p_value=0.5)), "fill", "mm")[0]
    assert repeat_sentences(replace(repeats, test=None, why_not="too bad"), "fill", "mm")[0].endswith("; too bad.")
    assert proportionality_sentence(ProportionalityTest(("flux",), 1.0, 1, float("nan"), "no"), "cracks") == []
    assert "too simple" in proportionality_sentence(ProportionalityTest(("flux",), 9.0, 1, 0.003, ""), "cracks")[0]
    assert "alike in 80 % of 10 castings, where 50 % would" in agreement_sentence(weighted_kappa([[4, 1], [1, 4]]))


def test_everything_at_once_leaves_out_what_has_nothing_to_say(chain: ChainFit) -> None:
    quick = learning_passages(chain, learning(chain, refits=False))
    full = learning_passages(chain, learning(chain))
    assert "Past predictions" not in [one.title for one in quick]
    assert [one.title for one in full][-2:] == ["Past predictions", "Drift over the series"]
    assert all(one.sentences for one in full)
    empty = fit_chain(chain.series, Log(chain.series), n_draws=400)
    assert learning_passages(empty, learning(empty)) == ()
    believed = replace(chain.series, beliefs=(Belief({"flux": 20.0}, "poured", 0.7, 1.0),))
    before = fit_chain(believed, Log(believed), n_draws=400)
    (passage,) = learning_passages(before, learning(before, refits=False))
    assert passage.title == "What the beliefs do"
    assert passage.sentences[0].startswith("Before any melt your beliefs put the chance of poured at flux 20 wt%")
