"""What cannot be told apart is named, for any matrix."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.merits.aliasing import (
    AliasGroup,
    alias_groups,
    alias_matrix,
    correlations,
    indistinguishable,
    interaction_columns,
)


def test_sentences_name_the_factors() -> None:
    groups = alias_groups(fraction(["flux", "peak", "soak"], 4).table, ["flux", "peak", "soak"], 2)
    assert [group.sentence for group in groups] == [
        "flux is mixed up with peak * soak",
        "peak is mixed up with flux * soak",
        "soak is mixed up with flux * peak",
    ]
    seven = alias_groups(fraction(7, 8).table, "ABCDEFG", 2)
    assert seven[0].sentence == "A is mixed up with BD, CE and FG"


def test_signs_show_in_sentences() -> None:
    table = fraction(3, 4).table * np.array([1, 1, -1])
    groups = alias_groups(table, "ABC", 3)
    assert groups[0].effects == ("mean", "ABC")
    assert groups[0].signs == (1, -1)
    assert groups[1].sentence == "A is mixed up with -BC"


def test_an_effect_by_itself_stands_alone() -> None:
    assert AliasGroup(("A",), (1,)).sentence == "A stands alone"


def test_three_settings_share_a_column_only_where_every_run_agrees() -> None:
    a = np.array([-1.0, 0.0, 1.0, -1.0, 0.0, 1.0])
    table = np.column_stack([a, -a, np.array([0.0, -1.0, -1.0, 1.0, 1.0, 0.0])])
    groups = alias_groups(table, "ABC", 1)
    assert [(group.effects, group.signs) for group in groups] == [(("A", "B"), (1, -1))]


def test_how_many_factors_interact_where_nobody_says() -> None:
    assert "AB" in interaction_columns(fraction(3, 8).table, "ABC")
    assert "ABC" not in interaction_columns(fraction(3, 8).table, "ABC")
    assert alias_groups(fraction(3, 4).table, "ABC")[0].effects == ("mean", "ABC")
    assert all(group.effects[0] != "mean" for group in alias_groups(fraction(4, 8).table, "ABCD"))  # ABCD is not asked


def test_a_factor_that_never_changes_is_mixed_up_with_the_mean() -> None:
    table = np.array([[1.0, -1], [1, 1], [1, -1], [1, 1]])
    assert alias_groups(table, "AB", 1)[0].sentence == "mean is mixed up with A"
    assert indistinguishable(np.column_stack([np.ones(4), table]), ["mean", "A", "B"]) == (("mean", "A"),)


def test_independent_columns_form_no_group() -> None:
    assert indistinguishable(fraction(4, 16).table, "ABCD") == ()


def test_groups_are_connected_dependences() -> None:
    rng = np.random.default_rng(3)
    a, b, c, d = rng.normal(size=(4, 9))
    X = np.column_stack([a, b, a + b, c, -2 * c, d])
    assert indistinguishable(X, ["a", "b", "sum", "c", "twice", "d"]) == (("a", "b", "sum"), ("c", "twice"))


def test_a_column_of_zeros_is_a_group_of_its_own() -> None:
    X = np.column_stack([np.ones(5), np.zeros(5), np.arange(5.0)])
    assert indistinguishable(X, ["mean", "nothing", "slope"]) == (("nothing",),)


def test_fewer_runs_than_terms() -> None:
    X = np.random.default_rng(1).normal(size=(3, 5))
    assert indistinguishable(X, "abcde") == (("a", "b", "c", "d", "e"),)
    assert indistinguishable(np.empty((0, 2)), "ab") == (("a",), ("b",))


def test_scale_and_row_order_change_nothing() -> None:
    columns = interaction_columns(fraction(6, 16).table, "ABCDEF")
    X = np.column_stack(list(columns.values()))
    expected = indistinguishable(X, list(columns))
    rng = np.random.default_rng(2)
    scaled = rng.permutation(X, axis=0) * 10.0 ** rng.uniform(-6, 6, size=X.shape[1])
    assert indistinguishable(scaled, list(columns)) == expected
    assert ("AB", "CE", "DF") in expected


def test_nearly_dependent_columns_are_still_told_apart() -> None:
    x = np.linspace(-1, 1, 8)
    assert indistinguishable(np.column_stack([np.ones(8), x, x + 1e-3 * x**2]), "abc") == ()


def test_correlations() -> None:
    x = np.arange(6.0)
    found = correlations(np.column_stack([np.ones(6), x, -3 * x, x**2]))
    assert found[0] == pytest.approx(np.zeros(4))
    assert found[1, 2] == pytest.approx(-1)
    assert found[1, 3] == pytest.approx(np.corrcoef(x, x**2)[0, 1])


def test_alias_matrix_is_the_bias_of_least_squares() -> None:
    rng = np.random.default_rng(4)
    X1, X2, beta = rng.normal(size=(10, 3)), rng.normal(size=(10, 2)), np.array([0.7, -1.3])
    bias = np.linalg.lstsq(X1, X2 @ beta, rcond=None)[0]
    assert alias_matrix(X1, X2) @ beta == pytest.approx(bias)


def test_where_nothing_is_left_out_there_is_no_bias() -> None:
    assert alias_matrix(np.eye(4)[:, :3], np.empty((4, 0))).shape == (3, 0)
