"""A setting that nobody knows any more stands as the average of its columns over the planned range."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from meltdoe.series import Amount, Choice, MeltSeries, Ordered, Outcome
from meltdoe.series.chemistry import Derived
from meltdoe.series.coding import Coding
from meltdoe.series.terms import parse_term

FACTORS = (
    Amount("flux", 12, 26, unit="wt%"),
    Amount("hold", 1, 8, unit="h", scale="log"),
    Ordered("sand", ("damp", "air dry", "oven dry")),
    Choice("packing", ("tight", "edge", "loose")),
)
TERMS = tuple(
    parse_term(text)
    for text in ("flux", "hold", "sand", "packing", "flux * hold", "flux * packing", "flux ^ 2", "hold ^ 2", "sand ^ 2")
)
CODING = Coding(FACTORS)
NAN = float("nan")


def spread_over(row: np.ndarray, steps: int = 400) -> np.ndarray:
    """The row at many equally likely values of whatever it leaves open, worked out by plain repetition."""
    sides = []
    for value, factor in zip(row, FACTORS, strict=True):
        if np.isfinite(value):
            sides.append([value])
        elif isinstance(factor, Amount):
            middles = (np.arange(steps) + 0.5) / steps
            ratio = factor.high / factor.low
            sides.append(
                list(
                    factor.low * ratio**middles
                    if factor.scale == "log"
                    else factor.low + (factor.high - factor.low) * middles
                )
            )
        else:
            sides.append(list(range(len(factor.options))))
    return np.array(list(itertools.product(*sides)), dtype=float)


@pytest.mark.parametrize(
    "row",
    [
        (NAN, 3.0, 1.0, 2.0), (20.0, NAN, 0.0, 0.0), (20.0, 2.0, NAN, 1.0), (30.0, 2.0, 2.0, NAN),
        (NAN, NAN, 1.0, NAN), (14.0, 5.0, NAN, NAN),
    ],
)  # fmt: skip
def test_the_row_is_the_average_over_what_it_may_have_been(row: tuple[float, ...]) -> None:
    raw = np.array([row, (20.0, 3.0, 1.0, 2.0)])
    found = CODING.matrix(TERMS, raw)
    assert found[0] == pytest.approx(CODING.matrix(TERMS, spread_over(raw[0])).mean(axis=0), abs=1e-5)
    assert found[1] == pytest.approx(CODING.matrix(TERMS, raw[1:])[0], abs=0)


def test_one_column_by_itself_agrees_with_the_whole_matrix() -> None:
    raw = np.array([(NAN, 3.0, 1.0, NAN), (20.0, NAN, NAN, 0.0)])
    by_term = [CODING.term_columns(term, raw) for term in TERMS]
    assert np.column_stack([np.ones(2), *by_term]) == pytest.approx(CODING.matrix(TERMS, raw), abs=0)


def test_a_quantity_of_the_glass_is_averaged_over_what_stands_behind_it() -> None:
    quantity = Derived(
        "viscosity", "Pa s", ("flux", "hold"), ("flux", "hold"), 0.0, 10.0, {}, {}, ((12.0, 26.0), (1.0, 8.0)),
        lambda columns: np.asarray(columns["flux"] ** 2 / 50.0 - columns["hold"] * 0.1),
    )  # fmt: skip
    coding = Coding(FACTORS, (quantity,))
    raw = np.array([(NAN, 2.0, 1.0, 0.0), (20.0, 2.0, NAN, NAN)])
    found = coding.matrix([parse_term("viscosity")], raw)
    dense = spread_over(raw[0])
    assert found[0, 1] == pytest.approx(coding.matrix([parse_term("viscosity")], dense)[:, 1].mean(), abs=1e-5)
    assert found[1, 1] == pytest.approx(2.0 * (8.0 - 0.2) / 10.0 - 1.0)


def test_words_for_people_name_what_is_unknown() -> None:
    series = MeltSeries("invented", FACTORS, (Outcome("poured", "pass"),))
    assert series.show_all({"flux": 20.0, "sand": "damp"}) == "flux 20 wt%, hold unknown, sand damp, packing unknown"
    assert series.show_all({"flux": 20.0}, of=["hold"]) == "hold unknown"
