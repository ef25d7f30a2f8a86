"""Limits: what they mean, and where reading stops."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.series.limit_parser import LimitSyntax, parse_comparison


def _holds(text: str, **values: float) -> bool:
    return bool(parse_comparison(text).holds({name: np.asarray(value) for name, value in values.items()}))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 + 3 * 4 <= 14", True),
        ("2 + 3 * 4 < 14", False),
        ("(2 + 3) * 4 >= 20", True),
        ("2 - 3 - 4 >= -5", True),
        ("2 - 3 - 4 > -5", False),
        ("24 / 4 / 3 <= 2", True),
        ("2 ^ 3 ^ 2 >= 512", True),
        ("2 ^ 3 ^ 2 <= 512", True),
        ("-2 ^ 2 <= -4", True),
        ("(-2) ^ 2 >= 4", True),
        ("2 ^ -1 <= 0.5", True),
        ("2 ^ -1 >= 0.5", True),
        ("--2 >= 2", True),
        ("+-2 <= -2", True),
        ("3 * -2 <= -6", True),
        (".5 + 1. >= 1.5e0", True),
        ("0.1 * 3 <= 0.3", True),  # rounding is no violation
        ("0.1 + 0.2 >= 0.3", True),
        ("1 <= 0.999", False),
    ],
)
def test_arithmetic(text: str, expected: bool):
    assert _holds(text) is expected


def test_elementwise_and_in_the_users_letters():
    comparison = parse_comparison("größe*2<=flux_1")
    assert comparison.names == {"größe", "flux_1"}
    columns = {"größe": np.array([1.0, 2.0, 3.0]), "flux_1": np.array([4.0, 4.0, 4.0])}
    assert comparison.holds(columns).tolist() == [True, True, False]
    assert comparison.margin(columns).tolist() == [2.0, 0.0, -2.0]
    assert parse_comparison("flux_1 > 3").margin(columns).tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(
    "text",
    [
        "1 / x <= 5", "1 / x >= 5", "-1 / x <= 5", "x / x <= 5", "0 < 1 / x", "10 ^ 400 <= 10 ^ 401", "10 ^ 400 >= 1",
        "(-1) ^ 0.5 <= 1", "x ^ -1 < 5", "x * 10 ^ 400 <= 1", "10 ^ 10 ^ 10 ^ 10 > 0",
        "1 / (1 / x) <= 5", "1 ^ (1 / x) <= 5", "(1 / x) ^ 0 <= 5",
    ],
)  # fmt: skip
def test_an_expression_without_a_finite_value_never_holds(text: str):
    with np.errstate(all="raise"):
        assert _holds(text, x=0.0) is False


@pytest.mark.parametrize(
    ("text", "at", "message"),
    [
        ("", 0, "missing"),
        ("flux", 4, "two sides"),
        ("flux <=", 7, "missing"),
        ("<= 3", 0, "stands where"),
        ("flux + * peak <= 3", 7, "stands where"),
        ("flux + ) <= 3", 7, "stands where"),
        ("(flux <= 3", 6, "bracket is not closed"),
        ("flux) <= 3", 4, "two sides"),
        ("flux <= 3 peak", 10, "one part too many"),
        ("2flux <= 3", 1, "two sides"),
        ("10 <= flux <= 20", 11, "one comparison only"),
        ("flux == 3", 5, "no meaning"),
        ("flux ** 2 <= 3", 6, "stands where"),
        ("flux <= 3 and peak <= 4", 10, "one part too many"),
        ("flux[0] <= 3", 4, "no meaning"),
        ("__import__('os') <= 3", 11, "no meaning"),
        ("flux.real <= 3", 4, "no meaning"),
        ("flux ≤ 3", 5, "no meaning"),
        ("flux <= 1e999", 8, "too large"),
    ],
)
def test_where_reading_stops(text: str, at: int, message: str):
    with pytest.raises(LimitSyntax, match=message) as caught:
        parse_comparison(text)
    assert caught.value.at == at


@pytest.mark.parametrize(
    "text",
    [
        "(" * 60 + "x" + ")" * 60 + " <= 1",
        "(" * 240 + " <= 1",
        "x" + "^x" * 60 + " <= 1",
        "x" + "^-x" * 60 + " <= 1",
        "-(" * 60 + "x" + ")" * 60 + " <= 1",
        "x + " * 200 + "x <= 1",
    ],
)
def test_deep_nesting_and_length_are_refused(text: str):
    with pytest.raises(LimitSyntax, match=r"deeply|at most 500"):
        parse_comparison(text)


def test_long_flat_limits_are_read():
    assert _holds("x+" * 240 + "x <= 241", x=1.0)
    assert not _holds("x+" * 240 + "x <= 240", x=1.0)
    assert _holds("-" * 400 + "x <= 1", x=1.0)
