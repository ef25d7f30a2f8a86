"""A plan judged before it is made: values that can be checked by hand, and words in the names of the factors."""

import numpy as np
import pytest
from planning_series import COOLING, FLUX, HOLD, PACKING, PEAK, plain, series
from scipy import stats

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.families.screening import plackett_burman
from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.plans.merits.assessment import assess, resolution_of
from meltdoe.plans.merits.effect_precision import effect_precision, measured_power, pass_power
from meltdoe.series import Budget, Choice, Kiln, cross_terms, main_terms, parse_term


def plan_of(series_, raw, firings):
    melts = tuple(
        PlannedMelt(i + 1, int(f), i + 1, series_.settings(row), "given")
        for i, (row, f) in enumerate(zip(raw, firings, strict=True))
    )
    return Plan(series_, melts, "given")


def test_a_factorial_in_single_firings_by_hand():
    """2^3, one melt a firing: the change low to high is a difference of two means of four, sd sqrt(1 + eta)."""
    judged = assess(make_plan(plain(3), "full"), eta=1.0)
    for effect in judged.effects:
        assert effect.standard_error == pytest.approx(np.sqrt(2.0) * np.sqrt(1 / 4 + 1 / 4))
        assert (effect.judged_by, effect.df) == ("melts", 4)
    assert judged.d_efficiency == pytest.approx(100.0)
    assert (judged.df_lack_of_fit, judged.df_pure_error) == (4, 0)
    assert judged.aliased == "main effects and two-factor interactions can all be told apart"


def test_whole_plot_effects_by_hand():
    """16 melts in 4 firings of 4: variance 4 (eta + 1/4) / 4 for the per-firing x1, 4 / 16 for a per-melt factor."""
    table = fraction(3, 8).table
    table = np.vstack([table, table])
    raw = 5.0 + 5.0 * table[np.argsort(table[:, 0], kind="stable")]
    inner = plain(3, per_firing=1)
    firings = np.repeat([1, 2, 3, 4], 4)
    for eta in (0.1, 1.0, 10.0):
        x1, x2, _ = assess(plan_of(inner, raw, firings), eta=eta).effects
        assert x1.standard_error == pytest.approx(np.sqrt(4 * (eta + 0.25) / 4))
        assert x2.standard_error == pytest.approx(np.sqrt(4 / 16))
        assert (x1.judged_by, x1.df) == ("firings", 2)
        assert (x2.judged_by, x2.df) == ("melts", 10)


def test_power_agrees_with_the_noncentral_t():
    for se, df in ((0.7, 3), (0.4, 11)):
        critical = stats.t.ppf(0.95, df)
        expected = stats.nct.sf(critical, df, 2.0 / se) + stats.nct.cdf(-critical, df, 2.0 / se)
        assert measured_power(2.0, se, df) == pytest.approx(expected, abs=1e-6)
    assert measured_power(0.0, 0.5, 5) == pytest.approx(0.10, abs=1e-9)
    assert np.isnan(measured_power(2.0, 0.7, 0))
    assert measured_power(2.0, np.inf, 5) == 0.0


@pytest.mark.parametrize("melts", [8, 12, 16, 24])
def test_pass_power_stays_near_the_exact_test_of_two_halves(melts):
    """Half the melts at a chance of 0.2, half at 0.8; exact conditional mid-p test, two-sided 10 %, counted out."""
    half = melts // 2
    low, high = (stats.binom.pmf(np.arange(half + 1), half, p) for p in (0.2, 0.8))
    power = 0.0
    for a in range(half + 1):
        for b in range(half + 1):
            null = stats.hypergeom(melts, a + b, half)
            tail = min(null.cdf(a) - 0.5 * null.pmf(a), null.sf(a) + 0.5 * null.pmf(a))
            power += low[a] * high[b] * (2 * tail <= 0.10)
    assert pass_power(2.0 / np.sqrt(melts)) == pytest.approx(power, abs=0.1)


@pytest.mark.parametrize(("k", "runs", "expected"), [(3, 8, None), (4, 8, 4), (5, 16, 5), (6, 16, 4), (7, 8, 3)])
def test_resolution_of_regular_fractions(k, runs, expected):
    inner = plain(k)
    raw = 5.0 + 5.0 * fraction(k, runs).table
    assert resolution_of(inner.coding, raw) == expected
    with_centre = np.vstack([raw, np.full(k, 5.0)])
    assert resolution_of(inner.coding, with_centre) == expected


def test_resolution_of_plackett_burman_is_three_and_of_an_uneven_table_none():
    inner = plain(5)
    raw = 5.0 + 5.0 * plackett_burman(12)[:, :5]
    assert resolution_of(inner.coding, raw) == 3
    assert resolution_of(inner.coding, raw[:-1]) is None


def test_what_is_mixed_up_is_said_in_the_names_of_the_factors():
    four = series(factors=(FLUX, PEAK, HOLD, PACKING), limits=(), kiln=Kiln(1), budget=Budget())
    judged = assess(make_plan(four, "fraction", 8))
    assert judged.resolution == 4
    assert ("flux * peak", "hold * packing") in [tuple(sorted(g)) for g in judged.mixed_up]
    assert judged.aliased.startswith("main effects are clear; among interactions flux * ")
    cut = series(factors=(FLUX, PEAK, PACKING, COOLING), kiln=Kiln(1), budget=Budget())
    bent = assess(make_plan(cut, "fraction", 8))
    assert "partly mixed up" in bent.aliased
    assert "main effects are clear" not in bent.aliased
    pb = assess(make_plan(plain(5), "plackett-burman", 12))
    assert pb.mixed_up == ()
    assert pb.partly == pytest.approx(1 / 3)
    assert "correlation up to 0.33" in pb.aliased


def test_terms_that_cannot_be_told_apart_have_no_standard_error():
    terms = (*main_terms(plain(4).factors), *cross_terms(plain(4).factors))
    judged = assess(make_plan(plain(4), "fraction", 8), terms)
    assert [e.estimable for e in judged.effects] == [True] * 4 + [False] * 6
    assert len(judged.indistinguishable) == 3
    assert judged.power_measured == judged.power_pass == judged.d_efficiency == 0.0
    assert any("cannot tell apart" in sentence for sentence in judged.sentences())


def test_a_choice_is_judged_by_the_difference_of_two_options():
    """Three options, four melts each in single firings: difference of two means of four, sd sqrt(2)."""
    inner = series(factors=(Choice("kind", ("a", "b", "c")),), limits=())
    raw = np.repeat([0.0, 1.0, 2.0], 4)[:, None]
    (effect,) = effect_precision(inner.coding, main_terms(inner.factors), raw, np.arange(12))
    assert effect.standard_error == pytest.approx(np.sqrt(2.0) * np.sqrt(1 / 4 + 1 / 4))


def test_a_square_is_judged_from_the_middle_to_an_end():
    inner = plain(1)
    raw = np.array([[0.0], [0.0], [5.0], [5.0], [10.0], [10.0]])
    terms = (parse_term("x1"), parse_term("x1 ^ 2"))
    _, square = effect_precision(inner.coding, terms, raw, np.arange(6), eta=0.0)
    assert square.standard_error == pytest.approx(np.sqrt(1 / 2 + 1 / 4))  # mean of both ends (4) less the middle (2)


def test_losing_a_melt_of_a_saturated_plan_loses_effects():
    judged = assess(make_plan(plain(7), "fraction", 8))
    assert judged.drop_melt.kept_worst == 0.0
    assert len(judged.drop_melt.lost) == 7
    roomy = assess(make_plan(plain(3), "full", 16))
    # one of 16 lost: var of a coefficient goes from 1/16 to 1/16 (1 + (1/16) / (1 - 4/16)) = 13/192
    assert roomy.drop_melt.kept_average == pytest.approx(np.sqrt(12 / 13))
    assert roomy.drop_melt.lost == ()


def test_losing_a_firing_is_named_by_its_number():
    judged = assess(make_plan(series(), "fraction", 8, first_firing=3, first_melt=1, seed=2))
    assert judged.drop_firing.worst in {3, 4, 5, 6}
    assert judged.drop_firing.kept_worst <= judged.drop_firing.kept_average < 1.0


def test_the_sentences_state_what_was_assumed():
    sentences = assess(make_plan(series())).sentences()
    assert "variance between firings 1 times" in sentences[-1]
    assert "90 % level" in sentences[-1]
    assert any(s.startswith("peak: standard error") and "between firings" in s for s in sentences)
    frame = assess(make_plan(series())).to_frame()
    assert list(frame["term"]) == ["flux", "peak", "hold", "packing", "cooling"]
