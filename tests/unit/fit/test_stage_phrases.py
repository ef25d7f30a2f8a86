"""Numbers to words."""

from __future__ import annotations

import pytest

from meltdoe.fit.stages.phrases import good_phrase, listed, measure, melts_phrase, percent, points
from meltdoe.series import GoodRange, Outcome


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (0.0, "under 1 %"),
        (0.004, "under 1 %"),
        (0.005, "under 1 %"),
        (0.0051, "1 %"),
        (0.61, "61 %"),
        (0.9949, "99 %"),
        (0.995, "over 99 %"),
        (0.999, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_chance_is_never_said_to_be_certain(chance: float, text: str) -> None:
    assert percent(chance) == text


@pytest.mark.parametrize(("change", "text"), [(0.04, "+4"), (-0.123, "-12"), (0.001, "0"), (-0.004, "0")])
def test_changes_carry_their_sign(change: float, text: str) -> None:
    assert points(change) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.345, "12.3 mm"),
        (0.0, "0 mm"),
        (123456.0, "123000 mm"),
        (-0.004567, "-0.00457 mm"),
        (20.0, "20 mm"),
        (1000.0, "1000 mm"),
    ],
)
def test_three_digits_and_a_unit(value: float, text: str) -> None:
    assert measure(value, "mm") == text


def test_lists_of_melts() -> None:
    assert melts_phrase([3]) == "melt 3"
    assert melts_phrase([1, 2]) == "melts 1 and 2"
    assert melts_phrase([1, 2, 3, 4, 7, 9]) == "melts 1 to 4, 7 and 9"
    assert listed([]) == ""


def test_a_good_outcome_is_called_by_what_makes_it_good() -> None:
    assert good_phrase(Outcome("no_bubbles", "pass")) == "no bubbles"
    assert good_phrase(Outcome("cracks", "grade", grades=("none", "fine", "open"), good=("none", "fine"))) == (
        "cracks none or fine"
    )
    assert good_phrase(Outcome("fill", "measured", unit="%", good=GoodRange(low=95))) == "fill at least 95 %"
