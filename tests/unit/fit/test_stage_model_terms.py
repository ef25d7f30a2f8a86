"""What each column of the classical model means, and which of them the rows can tell apart."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from meltdoe.fit.stages.model_terms import contrasts_of, independent_columns, tied_terms
from meltdoe.series import Amount, Choice, MeltSeries, Ordered, Outcome, cross_terms, main_terms, square_terms

FACTORS = (
    Amount("flux", 10, 30, unit="wt%"),
    Amount("hold", 1, 4, unit="h", scale="log"),
    Choice("packing", ("tight", "edge", "loose")),
    Ordered("grain", ("fine", "medium", "coarse")),
)
SERIES = MeltSeries("invented", FACTORS, (Outcome("contained", "pass"),))
GRID = np.array(list(itertools.product((10, 20, 30), (1, 2, 4), range(3), range(3))), dtype=float)


def test_a_coefficient_is_the_change_from_one_stated_setting_to_the_other() -> None:
    """A known surface, read back by least squares on the contrast columns."""
    flux, hold = (GRID[:, 0] - 20) / 10, np.log2(GRID[:, 1]) - 1
    packing, grain = GRID[:, 2], GRID[:, 3] - 1
    y = 5 + 2 * flux - hold + np.array([0.0, 3.0, -1.0])[packing.astype(int)] + 0.5 * grain
    y = y + 1.5 * flux * hold + flux * np.array([0.0, 2.0, 0.0])[packing.astype(int)] + 4 * flux**2
    terms = (*main_terms(FACTORS), *cross_terms(FACTORS), *square_terms(FACTORS))
    contrasts = contrasts_of(SERIES, terms, GRID)
    X = np.column_stack([np.ones(len(GRID)), *(c.column for c in contrasts)])
    b = np.linalg.lstsq(X, y, rcond=None)[0][1:]
    change = {contrast.label: value for contrast, value in zip(contrasts, b, strict=True)}
    # flux: slope 2 and, averaged over packings, 2/3 more; twice that from low to high.
    assert change["flux"] == pytest.approx(2 * (2 + 2 / 3))
    assert change["hold"] == pytest.approx(-2)
    assert change["packing edge"] == pytest.approx(3)
    assert change["packing loose"] == pytest.approx(-1)
    assert change["grain"] == pytest.approx(1)
    assert change["flux * hold"] == pytest.approx(3)  # both high or both low, against one of each: 1.5 - (-1.5)
    assert change["flux * packing (packing edge)"] == pytest.approx(2)
    assert change["flux ^ 2"] == pytest.approx(4)  # from the middle to the ends
    assert change["hold ^ 2"] == pytest.approx(0, abs=1e-9)


def test_settings_are_named_for_people() -> None:
    contrasts = contrasts_of(SERIES, main_terms(FACTORS), GRID)
    assert [(c.label, c.from_setting, c.to_setting) for c in contrasts] == [
        ("flux", "10 wt%", "30 wt%"),
        ("hold", "1 h", "4 h"),
        ("packing edge", "tight", "edge"),
        ("packing loose", "tight", "loose"),
        ("grain", "fine", "coarse"),
    ]


def test_settings_changed_together_are_named_and_the_others_stay_estimable() -> None:
    rng = np.random.default_rng(3)
    x, z = rng.standard_normal((2, 8))
    X = np.column_stack([np.ones(8), x, -2 * x + 1, z, np.full(8, 0.5)])
    reasons = tied_terms(X, ("constant", "flux", "peak", "hold", "grain"), "contained")
    assert set(reasons) == {"flux", "peak", "grain"}
    assert reasons["flux"] == "flux and peak were changed together: their effects cannot be told apart"
    assert "never changed" in reasons["grain"]
    assert independent_columns(X) == (0, 1, 3)


def test_three_melts_cannot_tell_four_effects_apart() -> None:
    X = np.column_stack([np.ones(3), np.random.default_rng(1).standard_normal((3, 4))])
    reasons = tied_terms(X, ("constant", "a", "b", "c", "d"), "contained")
    assert set(reasons.values()) == {"3 melts cannot tell 4 effects apart"}
    assert len(independent_columns(X)) == 3
