"""The limit parser against Python's own arithmetic, which is used here only, never in the package."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from meltdoe.series.limit_parser import LimitSyntax, parse_comparison

NAMES = ("flux", "peak", "x_1", "größe")
_LEAVES = st.one_of(
    st.sampled_from(NAMES),
    st.integers(0, 999).map(str),
    st.floats(0, 1e3, allow_subnormal=False).map(lambda value: repr(round(value, 3))),
)


def _joined(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    space = st.sampled_from(["", " ", "  "])
    return st.one_of(
        st.tuples(inner, space, st.sampled_from("+-*/"), space, inner).map("".join),
        st.tuples(inner, space, st.just("^"), space, st.sampled_from(["2", "3", "-1", "0.5", "2^2", "-2^0"])).map(
            "".join
        ),
        inner.map(lambda text: f"({text})"),
        inner.map(lambda text: f"-{text}"),
    )


EXPRESSIONS = st.recursive(_LEAVES, _joined, max_leaves=12)
VALUES = st.fixed_dictionaries({name: st.floats(-50, 50).map(lambda value: round(value, 2)) for name in NAMES})


def _reference(text: str, values: dict[str, float]) -> float:
    """Python's value of the text; NaN where any part of it has none."""
    code = re.sub(r"(?<![\w.])\d[\d.]*", r"number(\g<0>)", text).replace("^", "**")
    known = {"number": np.float64, **{name: np.float64(value) for name, value in values.items()}}
    try:
        with np.errstate(divide="raise", invalid="raise", over="raise", under="ignore"):
            return float(eval(code, {"__builtins__": {}}, known))
    except FloatingPointError:
        return math.nan


@settings(max_examples=250, deadline=None, derandomize=True)
@given(EXPRESSIONS, EXPRESSIONS, st.sampled_from(["<=", ">=", "<", ">"]), VALUES)
def test_same_verdict_as_python(left: str, right: str, sign: str, values: dict[str, float]):
    text = f"{left} {sign} {right}"
    assume(len(text) <= 500)
    low, high = _reference(left, values), _reference(right, values)
    columns = {name: np.asarray(value) for name, value in values.items()}
    held = bool(parse_comparison(text).holds(columns))
    if not (math.isfinite(low) and math.isfinite(high)):
        assert held is False
        return
    assume(abs(low - high) > 1e-6 * max(1.0, abs(low), abs(high)))
    assert held is {"<=": low <= high, ">=": low >= high, "<": low < high, ">": low > high}[sign]


@settings(deadline=None, derandomize=True)
@given(st.text(alphabet="flux peak0123.e+-*/^()<>=[]'\"_\\\n\té∞", max_size=80))
def test_any_text_is_read_or_refused_with_a_place(text: str):
    stopped = None
    try:
        comparison = parse_comparison(text)
        comparison.holds({name: np.asarray(1.0) for name in comparison.names})
    except LimitSyntax as error:
        stopped = error
    assert stopped is None or (0 <= stopped.at <= len(text) and str(stopped))


@settings(deadline=None, derandomize=True)
@given(EXPRESSIONS, VALUES)
def test_margin_and_verdict_agree(expression: str, values: dict[str, float]):
    columns = {name: np.asarray(value) for name, value in values.items()}
    for sign in ("<=", ">=", "<", ">"):
        comparison = parse_comparison(f"{expression} {sign} 7")
        margin = float(comparison.margin(columns))
        if math.isfinite(margin) and abs(margin) > 1e-3:
            assert bool(comparison.holds(columns)) is (margin > 0)


def test_the_reference_itself_can_disagree():
    """A parser that took ^ from the left would be caught."""
    assert _reference("2^3^2", {}) == 512
    assert math.isnan(_reference("1 / (1 / 0)", {}))
    with pytest.raises(NameError):
        _reference("unknown", {})
