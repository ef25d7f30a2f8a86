"""A two-level plan judged as such. All series are invented."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.classical.half_normal import lenth
from meltdoe.fit.stages.stage_chain import StageFit, fit_chain
from meltdoe.fit.stages.two_level_plan import two_level_analysis
from meltdoe.log.melt_log import Entry, Log
from meltdoe.plans import fraction, plackett_burman
from meltdoe.series import Amount, Choice, MeltSeries, Outcome

FILL = Outcome("fill", "measured", unit="mm")


def stage(coded: np.ndarray, y: np.ndarray, names: str = "ABCD", choice: bool = False) -> StageFit:
    """Rows at coded settings; -1, 0 and +1 stand at 10, 20 and 30."""
    factors = [Amount(name, 10, 30) for name in names]
    if choice:
        factors[-1] = Choice(names[-1], ("no", "yes"))  # type: ignore[call-overload]
    series = MeltSeries("invented", tuple(factors), (FILL,), seed=2)
    raw = 20 + 10 * coded
    if choice:
        raw[:, -1] = coded[:, -1] > 0
    entries = (
        Entry(i, i, series.settings(row), {"fill": float(v)}) for i, (row, v) in enumerate(zip(raw, y, strict=True), 1)
    )
    return fit_chain(series, Log(series, tuple(entries)), n_draws=400).stages[0]


@pytest.fixture(scope="module")
def half() -> tuple[np.ndarray, np.ndarray]:
    """2^(4-1) with D = ABC; A raises by 8, the pair AB (and CD) by 4, and a little noise."""
    table = fraction(4, 8).table
    noise = np.array([0.1, -0.2, 0.15, 0.05, -0.1, 0.2, -0.15, -0.05])
    return table, 50 + 4 * table[:, 0] - 2 * table[:, 0] * table[:, 1] + noise


def test_effects_carry_the_names_of_everything_they_are_mixed_up_with(half: tuple[np.ndarray, np.ndarray]) -> None:
    found = two_level_analysis(stage(*half))
    assert found is not None
    assert found.corners == tuple(range(1, 9))
    assert len(found.effects) == 7
    first, second = found.effects[:2]
    assert (first.name, first.names.effects) == ("A", ("A", "BCD"))
    assert first.effect == pytest.approx(8, abs=0.3)
    assert (second.names.effects, second.names.signs) == (("AB", "CD"), (1, 1))
    assert second.effect == pytest.approx(-4, abs=0.3)
    assert [effect.stands_out for effect in found.effects] == [True, True] + [False] * 5
    assert found.lenth.margin == pytest.approx(lenth([effect.effect for effect in found.effects], 0.9).margin)
    assert not found.few


def test_a_mirrored_fraction_turns_the_signs_of_its_names(half: tuple[np.ndarray, np.ndarray]) -> None:
    table, y = half
    found = two_level_analysis(stage(np.column_stack([table[:, :3], -table[:, 3]]), y))
    assert found is not None
    assert found.effects[0].names.sentence == "A is mixed up with -BCD"
    assert found.effects[1].names.signs == (1, -1)


def test_melts_in_the_middle_show_a_bend(half: tuple[np.ndarray, np.ndarray]) -> None:
    table, y = half
    coded = np.vstack([table, np.zeros((3, 4))])
    found = two_level_analysis(stage(coded, np.append(y, [55.0, 55.4, 54.8])))
    assert found is not None
    assert found.centres == (9, 10, 11)
    assert found.curvature is not None
    assert found.curvature.difference == pytest.approx(y.mean() - 55.0667, abs=1e-3)
    assert found.curvature.p_value < 0.01


def test_why_a_bend_is_not_judged(half: tuple[np.ndarray, np.ndarray]) -> None:
    table, y = half
    without = two_level_analysis(stage(table, y))
    one = two_level_analysis(stage(np.vstack([table, np.zeros((1, 4))]), np.append(y, 55.0)))
    mixed = np.vstack([table, [[0, 0, 0, 1.0]]])
    listed = two_level_analysis(stage(mixed, np.append(y, 55.0), choice=True))
    assert without is not None
    assert one is not None
    assert listed is not None
    assert "no melt was made in the middle" in without.why_no_curvature
    assert "two centre runs" in one.why_no_curvature
    assert listed.why_no_curvature.startswith("D has no middle")


def test_settings_that_are_nearly_on_the_level_count_and_others_do_not(half: tuple[np.ndarray, np.ndarray]) -> None:
    table, y = half
    near, far = table.copy(), table.copy()
    near[0, 0] *= 1.06
    far[0, 0] *= 0.7
    assert two_level_analysis(stage(near, y)) is not None
    assert two_level_analysis(stage(far, y)) is None


@pytest.mark.parametrize("spoilt", ["repeat", "missing", "irregular"])
def test_what_is_not_a_regular_unreplicated_plan_is_left_alone(
    half: tuple[np.ndarray, np.ndarray], spoilt: str
) -> None:
    table, y = half
    if spoilt == "repeat":
        table, y = np.vstack([table, table[:1]]), np.append(y, y[0])
    elif spoilt == "missing":
        table, y = table[1:], y[1:]
    else:
        table = plackett_burman(12)[:, :4]
        y = np.arange(12.0)
    assert two_level_analysis(stage(table, y)) is None


def test_four_melts_have_too_few_effects_to_stand_on() -> None:
    table = np.array([[-1.0, -1], [1, -1], [-1, 1], [1, 1]])
    found = two_level_analysis(stage(table, np.array([1.0, 5, 1.2, 5.1]), "AB"))
    assert found is not None
    assert found.few
