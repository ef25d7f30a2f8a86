"""Factors, coding, outcomes, terms and the series that holds them."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.series.coding import Coding, contrasts
from meltdoe.series.factor import Amount, Choice, Ordered
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome, Unseen, parse_good_range
from meltdoe.series.terms import Term, cross_terms, main_terms, parse_term, square_terms

FLUX = Amount("flux", 15.0, 40.0, "Flux share", "wt%", 1.0)
HOLD = Amount("hold", 1.0, 16.0, "", "h", None, "log", "firing")
PACKING = Ordered("packing", ("loose", "firm", "hard"))
KIND = Choice("kind", ("soda", "borax", "lime"))
SERIES = MeltSeries(
    title="t",
    factors=(FLUX, HOLD, PACKING, KIND),
    outcomes=(
        Outcome("contained", "pass"),
        Outcome("fill", "measured", unit="%", after="contained", good=GoodRange(low=95.0)),
        Outcome("cracks", "grade", grades=("none", "open"), after="fill", good=("none",)),
        Outcome("colour", "grade", grades=("black", "grey"), after="contained"),
    ),
    limits=(Limit("flux <= 20 * hold", "", parse_comparison("flux <= 20 * hold")),),
)


def test_amounts_are_coded_between_their_ends():
    assert FLUX.coded(np.array([15.0, 27.5, 40.0])) == pytest.approx([-1, 0, 1])
    assert HOLD.coded(np.array([1.0, 2.0, 4.0, 8.0, 16.0])) == pytest.approx([-1, -0.5, 0, 0.5, 1])
    assert HOLD.decoded(np.array([-1.0, 0.0, 1.0])) == pytest.approx([1, 4, 16])
    assert FLUX.decoded(FLUX.coded(np.array([3.0, 50.0]))) == pytest.approx([3, 50])


def test_grids_keep_steps_and_both_ends():
    assert len(FLUX.grid()) == 26
    assert Amount("a", 0.0, 1.0, step=0.3).grid().tolist() == [0.0, 0.3, 0.6, 0.9, 1.0]
    assert Amount("a", 0.0, 0.3, step=0.1).grid().tolist() == [0.0, 0.1, 0.2, 0.3]
    thinned = FLUX.grid(5)
    assert len(thinned) == 5
    assert (thinned[0], thinned[-1]) == (15.0, 40.0)
    assert HOLD.grid(3) == pytest.approx([1, 4, 16])
    assert PACKING.grid(2).tolist() == [0.0, 1.0, 2.0]


def test_snapping():
    assert FLUX.snap(np.array([14.0, 15.4, 15.6, 99.0])).tolist() == [15.0, 15.0, 16.0, 40.0]
    assert HOLD.snap(np.array([0.0, 3.3])).tolist() == [1.0, 3.3]
    assert PACKING.snap(np.array([-1.0, 1.4, 7.0])).tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize("options", [2, 3, 4, 7])
def test_contrasts_are_orthonormal_and_sum_to_zero(options: int):
    columns = contrasts(options)
    assert columns.sum(axis=0) == pytest.approx(np.zeros(options - 1), abs=1e-12)
    assert columns.T @ columns / options == pytest.approx(np.eye(options - 1), abs=1e-12)


def test_two_options_are_coded_minus_and_plus_one():
    assert contrasts(2)[:, 0] == pytest.approx([-1, 1])


def test_model_matrix():
    coding = SERIES.coding
    raw = np.array([[15.0, 4.0, 2.0, 1.0], [40.0, 16.0, 0.0, 2.0]])
    terms = [Term((("flux", 1),)), parse_term("flux * kind"), parse_term("hold ^ 2"), parse_term("packing")]
    matrix = coding.matrix(terms, raw)
    assert matrix.shape == (2, 6)
    assert matrix[:, 1] == pytest.approx([-1, 1])
    assert matrix[:, 2:4] == pytest.approx(np.array([[-1], [1]]) * contrasts(3)[[1, 2]])
    assert matrix[:, 4] == pytest.approx([0, 1])
    assert matrix[:, 5] == pytest.approx([1, -1])
    assert coding.column_names(terms) == (
        "constant",
        "flux",
        "flux * kind [1]",
        "flux * kind [2]",
        "hold ^ 2",
        "packing",
    )
    assert coding.column_terms(terms)[2] == terms[1]
    assert coding.centre().tolist() == pytest.approx([27.5, 4.0, 1.0, 1.0])
    assert Coding((FLUX,)).matrix([], np.array([[15.0]])).tolist() == [[1.0]]


def test_terms():
    assert parse_term(" peak*flux ") == Term((("flux", 1), ("peak", 1)))
    assert str(parse_term("peak^2*flux")) == "flux * peak ^ 2"
    assert parse_term("flux * flux") == parse_term("flux ^ 2")
    assert parse_term("flux * peak ^ 2").parents() == (parse_term("peak ^ 2"), parse_term("flux * peak"))
    assert parse_term("flux").parents() == ()
    assert [str(term) for term in main_terms(SERIES.factors)] == ["flux", "hold", "packing", "kind"]
    assert len(cross_terms(SERIES.factors)) == 6
    assert [str(term) for term in square_terms(SERIES.factors)] == ["flux ^ 2", "hold ^ 2"]


@pytest.mark.parametrize("text", ["", "flux +", "flux ^ 0", "flux ^ 5", "flux ^ -1", "2 * flux", "flux ^", "a*b*c*d*e"])
def test_texts_that_are_no_term(text: str):
    with pytest.raises(ValueError, match=r"no product|not usable"):
        parse_term(text)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("at least 95", "%", GoodRange(low=95.0)),
        ("At  most 3,5", "", GoodRange(high=3.5)),
        ("between -1e1 and 20", "mm", GoodRange(-10.0, 20.0)),
        ("between 1 in and 30", "mm", GoodRange(25.4, 30.0)),
        ("at most 212 °F", "°C", GoodRange(high=100.0)),
    ],
)
def test_good_ranges(text: str, unit: str, expected: GoodRange):
    assert parse_good_range(text, unit) == expected


@pytest.mark.parametrize("text", ["", "95", "at least", "at least x", "between 3", "between 3 and 1", "at least 9e999"])
def test_texts_that_are_no_good_range(text: str):
    with pytest.raises(ValueError, match='"'):
        parse_good_range(text)


def test_what_is_good():
    contained, fill, cracks, colour = SERIES.outcomes
    assert contained.is_good(True) is True
    assert contained.is_good(False) is False
    assert fill.is_good(95.0) is True
    assert fill.is_good(94.9) is False
    assert cracks.is_good("open") is False
    assert colour.is_good("black") is None
    assert fill.is_good(Unseen.LOST) is None
    assert not colour.counts
    assert [fill.show(seen) for seen in (80.0, Unseen.LATER, Unseen.NOT_REACHED)] == ["80", "later", ""]
    assert contained.show(False) == "no"
    assert str(GoodRange(1.0, 2.0)) == "between 1 and 2"


def test_the_series_turns_settings_to_rows_and_back():
    settings = {"flux": 20.0, "hold": 2.0, "packing": "hard", "kind": "soda"}
    assert SERIES.raw(settings).tolist() == [20.0, 2.0, 2.0, 0.0]
    assert SERIES.settings(SERIES.raw(settings)) == settings
    assert np.isnan(SERIES.raw({"flux": 20.0})[1:]).all()
    assert SERIES.raw_table([]).shape == (0, 4)
    assert SERIES.show(settings) == "flux 20 wt%, hold 2 h, packing hard, kind soda"
    assert SERIES.per_firing == (1,)
    assert [outcome.name for outcome in SERIES.forerunners("cracks")] == ["contained", "fill"]
    with pytest.raises(KeyError):
        SERIES.outcome("nothing")


def test_limits_of_the_series():
    table = np.array([[20.0, 1.0, 0, 0], [21.0, 1.0, 0, 0], [40.0, 2.0, 0, 0]])
    assert SERIES.allowed(table).tolist() == [True, False, True]
    assert SERIES.broken_limits({"flux": 21.0, "hold": 1.0}) == SERIES.limits
    assert SERIES.broken_limits({"flux": 21.0}) == ()
