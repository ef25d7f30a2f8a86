"""Perfect splits are named with the melts that make them."""

from __future__ import annotations

import pytest

from meltdoe.fit.stages.stage_chain import StageFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, Factor, GoodRange, MeltSeries, Ordered, Outcome, Seen
from meltdoe.series.factor import Setting

OUTCOME = Outcome("contained", "pass")


def stage(flux: list[float | None], packing: list[str], good: list[bool]) -> StageFit:
    factors = (Amount("flux", 10, 40, unit="wt%"), Choice("packing", ("tight", "edge")))
    series = MeltSeries("invented", factors, (OUTCOME,))
    rows = zip(flux, packing, good, strict=True)
    entries = (
        Entry(i, i, {"packing": p} if f is None else {"flux": f, "packing": p}, {"contained": g})
        for i, (f, p, g) in enumerate(rows, 1)
    )
    return fit_chain(series, Log(series, tuple(entries))).stage("contained")


def test_an_amount_that_splits_on_its_own() -> None:
    split = stage([10, 20, 30, 40, 25, 32], ["tight", "edge"] * 3, [False, False, True, True, False, True]).separation
    assert split is not None
    assert (split.kind, split.factors, split.together) == ("complete", ("flux",), False)
    assert split.melts == (1, 2, 3, 4, 5, 6)
    assert split.sentence == (
        "Flux alone splits contained so far: all good at 30 wt% and above (melts 3, 4 and 6), "
        "all bad at 25 wt% and below (melts 1, 2 and 5)."
    )


def test_a_melt_whose_setting_is_unknown_neither_makes_nor_breaks_a_split() -> None:
    packing, good = ["tight", "edge"] * 3, [False, False, True, True, True, True]
    split = stage([10, 20, 30, 40, None, 32], packing, good).separation
    assert split is not None
    assert (split.kind, split.factors, split.melts) == ("quasi-complete", ("flux",), (1, 2, 3, 4, 6))
    assert "all good at 30 wt% and above (melts 3, 4 and 6), all bad at 20 wt% and below (melts 1 and 2)" in (
        split.sentence
    )
    assert stage([None] * 6, packing, good).separation is None


def test_an_option_that_was_always_good_is_named_with_its_melts() -> None:
    split = stage([10, 40, 20, 30, 11, 39], ["edge", "edge", *["tight"] * 4], [True, True, True, False, False, True])
    found = split.separation
    assert found is not None
    assert (found.kind, found.factors, found.melts) == ("quasi-complete", ("packing",), (1, 2))
    assert "all good with edge (melts 1 and 2)" in found.sentence


def test_factors_that_split_only_together() -> None:
    """Good where flux is above 20 with tight packing and above 30 with edge packing; neither splits alone."""
    flux = [10.0, 18, 22, 35, 15, 25, 29, 32, 38]
    packing = ["tight"] * 4 + ["edge"] * 5
    split = stage(flux, packing, [False, False, True, True, False, False, False, True, True]).separation
    assert split is not None
    assert split.together
    assert split.factors == ("flux", "packing")
    assert split.sentence.startswith("Flux and packing together split contained so far (melts 1 to 9")


@pytest.mark.parametrize("good", [[True] * 6, [False] * 6, [True, False, True, False, False, True]])
def test_no_split_where_all_agree_or_where_settings_overlap(good: list[bool]) -> None:
    assert stage([10, 20, 15, 12, 30, 35], ["tight", "edge", "edge", "edge", "tight", "tight"], good).separation is None


def test_fewer_melts_than_effects_say_nothing() -> None:
    split = stage([10, 30, 20], ["tight", "edge", "tight"], [True, False, False]).separation
    assert split is not None
    assert "says nothing" in split.sentence or not split.together


def test_a_split_that_chance_alone_often_makes_is_said_to_be_so() -> None:
    """2 of 3 good: one factor puts them in order by chance 2 times in 3; 5 of 10: 2 / 252 for each factor."""
    few = stage([10, 20, 30], ["tight", "tight", "tight"], [False, True, True]).separation
    many = stage([float(f) for f in range(10, 30, 2)], ["tight", "edge"] * 5, [False] * 5 + [True] * 5).separation
    assert few is not None
    assert many is not None
    assert "often chance" in few.sentence
    assert "chance" not in many.sentence


def test_splits_by_several_factors_are_weighed_against_chance() -> None:
    """Cover 1965: 9 random results are split by 3 columns with chance (1 + 8 + 28) / 256 = 0.145; 6 by 3, 0.5."""
    flux = [10.0, 18, 22, 35, 15, 25, 29, 32, 38]
    good = [False, False, True, True, False, False, False, True, True]
    nine = stage(flux, ["tight"] * 4 + ["edge"] * 5, good).separation
    six = stage(
        [10, 30, 35, 12, 15, 20], ["tight"] * 3 + ["edge"] * 3, [True, True, False, True, False, False]
    ).separation
    assert nine is not None
    assert six is not None
    assert "times in 100" not in nine.sentence
    assert "50 times in 100" in six.sentence


def test_one_failure_is_one_finding_and_not_one_for_every_factor() -> None:
    split = stage([10, 20, 30, 40], ["tight", "tight", "tight", "edge"], [True, True, True, False]).separation
    assert split is not None
    assert split.factors == ("flux", "packing")
    assert split.sentence == (
        "Only melt 4 failed on contained: flux and packing both line up with it. "
        "One melt cannot say which of them was the reason, or whether it was chance."
    )


def test_one_success_is_said_as_such_and_one_of_each_as_well() -> None:
    success = stage([40, 30, 20, 10], ["edge", "tight", "tight", "tight"], [True, False, False, False]).separation
    each = stage([10, 30], ["tight", "edge"], [True, False]).separation
    assert success is not None
    assert success.sentence.startswith("Only melt 1 was good for contained: flux and packing both line up with it.")
    assert each is None or each.sentence.count("alone splits") < 2


def of_kind(outcome: Outcome, factors: tuple[Factor, ...], rows: list[tuple[dict[str, Setting], Seen]]) -> StageFit:
    series = MeltSeries("invented", factors, (outcome,))
    entries = tuple(Entry(i, i, settings, {outcome.name: seen}) for i, (settings, seen) in enumerate(rows, 1))
    return fit_chain(series, Log(series, entries)).stage(outcome.name)


def test_the_last_of_ordered_options_stands_without_above_or_below() -> None:
    sand = Ordered("sand", ("damp", "air dry", "oven dry"))
    rows: list[tuple[dict[str, Setting], Seen]] = [
        ({"sand": option}, good) for option, good in zip(sand.options * 3, (False, False, True) * 3, strict=True)
    ]
    split = of_kind(OUTCOME, (sand,), rows).separation
    assert split is not None
    assert "all good at oven dry (melts 3, 6 and 9), all bad at air dry and below (melts 1, 2, 4, 5, 7 and 8)" in (
        split.sentence
    )
    turned = of_kind(OUTCOME, (sand,), [(at, at["sand"] == "damp") for at, _ in rows]).separation
    assert turned is not None
    assert "all bad at air dry and above (melts 2, 3, 5, 6, 8 and 9), all good at damp (melts 1, 4 and 7)." in (
        turned.sentence
    )


def test_three_factors_that_line_up_with_one_failure_all_do() -> None:
    factors = (Amount("flux", 10, 40), Amount("peak", 1100, 1200), Choice("packing", ("tight", "edge")))
    settings: list[dict[str, Setting]] = [
        {"flux": 10.0 + i, "peak": 1100.0 + i, "packing": "edge" if i == 4 else "tight"} for i in range(5)
    ]
    split = of_kind(OUTCOME, factors, [(at, i < 4) for i, at in enumerate(settings)]).separation
    assert split is not None
    assert "flux, peak and packing all line up with it" in split.sentence
    assert (split.kind, split.together) == ("quasi-complete", False), "one melt with edge packing proves nothing"
    one_each = of_kind(OUTCOME, factors, [(settings[0], True), (settings[4], False)]).separation
    assert one_each is not None
    assert one_each.sentence.startswith("Contained: one good (melt 1), one bad (melt 2) so far; ")


def test_neither_a_measurement_nor_what_is_only_described_is_split() -> None:
    flux = (Amount("flux", 10, 40),)
    at: list[dict[str, Setting]] = [{"flux": 10.0 + 5 * i} for i in range(6)]
    fill = Outcome("fill", "measured", unit="%", bounds=(0, 100), good=GoodRange(low=80))
    assert of_kind(fill, flux, [(s, 60.0 + 8 * i) for i, s in enumerate(at)]).separation is None
    hue = Outcome("hue", "grade", grades=("green", "grey"))
    assert of_kind(hue, flux, [(s, ("green", "grey")[i > 2]) for i, s in enumerate(at)]).separation is None


def test_with_as_many_effects_as_melts_the_numbers_are_told() -> None:
    split = stage([10, 20, 30], ["tight", "tight", "edge"], [True, False, True]).separation
    assert split is not None
    assert (split.kind, split.together, split.factors, split.melts) == ("complete", True, (), (1, 2, 3))
    assert split.sentence == (
        "With 3 melts and 2 effects any pattern of contained could be matched perfectly, so a perfect match says "
        "nothing."
    )


def test_melts_on_the_border_of_two_factors_are_named_apart() -> None:
    """Good above 20 with tight packing and above 30 with edge packing; at the border one of each."""
    flux = [10.0, 20, 20, 35, 15, 30, 30, 38]
    packing, good = ["tight"] * 4 + ["edge"] * 4, [False, False, True, True, False, False, True, True]
    split = stage(flux, packing, good).separation
    assert split is not None
    assert (split.kind, split.together, split.factors) == ("quasi-complete", True, ("flux", "packing"))
    assert split.melts == (1, 4, 5, 8)
    assert "(melts 1, 4, 5 and 8, with melts 2, 3, 6 and 7 on the border)" in split.sentence


def test_one_melt_beyond_the_border_is_no_split() -> None:
    """Flux touches: bad up to 30, good from 30; one melt on either side counts, one alone does not."""
    two = stage([10, 30, 30, 40], ["tight", "edge", "tight", "edge"], [False, False, True, True]).separation
    assert two is not None
    assert (two.kind, two.factors) == ("quasi-complete", ("flux",))
    one = stage([30, 30, 30, 40], ["tight", "edge", "edge", "tight"], [False, False, True, True]).separation
    assert one is None or one.factors != ("flux",)


def test_how_often_chance_makes_a_split_is_told_with_the_numbers_of_melts_and_effects() -> None:
    six = stage(
        [10, 30, 35, 12, 15, 20], ["tight"] * 3 + ["edge"] * 3, [True, True, False, True, False, False]
    ).separation
    assert six is not None
    assert "With 6 melts and 2 effects chance alone does so 50 times in 100." in six.sentence


def test_both_directions_of_every_factor_count_among_the_chances_for_luck() -> None:
    """2 of 5 good, two factors: 2 x 2 / 10 = 0.4 of series without any effect show such a split; half of it is rare."""
    five = stage([10, 20, 30, 35, 40], ["tight", "edge", "tight", "edge", "tight"], [False, False, False, True, True])
    assert five.separation is not None
    assert five.separation.factors == ("flux",)
    assert "often chance" in five.separation.sentence
