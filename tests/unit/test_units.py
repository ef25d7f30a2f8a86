"""Conversions against the definitions of the units."""

from __future__ import annotations

import pytest

from meltdoe.units import (
    Quantity,
    canonical,
    convert,
    convert_difference,
    dimension,
    known_units,
    parse_quantity,
    same_dimension,
    to_si,
)


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        (0, "°C", "K", 273.15),  # definition of the degree Celsius
        (32, "°F", "°C", 0),
        (212, "°F", "°C", 100),
        (-40, "°F", "°C", -40),
        (2300, "F", "°C", 1260),
        (1, "in", "mm", 25.4),  # international inch, pound and foot: exact by definition
        (1, "ft", "in", 12),
        (1, "lb", "g", 453.59237),
        (16, "oz", "lb", 1),
        (1, "d", "min", 1440),
        (1, "l", "cm3", 1000),
        (1, "in3", "ml", 16.387064),
        (90, "°F/h", "°C/h", 50),
        (5, "wt%", "%", 5),
    ],
)
def test_convert(value: float, source: str, target: str, expected: float):
    assert convert(value, source, target) == pytest.approx(expected, abs=1e-9)
    assert convert(expected, target, source) == pytest.approx(value, abs=1e-9)


def test_differences_of_temperature_have_no_zero_point():
    assert convert_difference(18, "°F", "°C") == pytest.approx(10)
    assert convert_difference(10, "K", "°F") == pytest.approx(18)
    assert convert_difference(1, "in", "mm") == pytest.approx(25.4)


def test_to_si():
    assert to_si(1200, "°C") == pytest.approx(1473.15)
    assert to_si(36, "K/h") == pytest.approx(0.01)
    with pytest.raises(ValueError, match="not known"):
        to_si(1, "furlong")


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1280 °C", None, Quantity(1280.0, "°C")),
        (" 1280degC ", None, Quantity(1280.0, "°C")),
        ("2.5 kg", "g", Quantity(2.5, "kg")),
        ("2,5 kg", None, Quantity(2.5, "kg")),
        ("-1.5e2 mm", None, Quantity(-150.0, "mm")),
        ("0,125 in", None, Quantity(0.125, "in")),
        ("12", "wt%", Quantity(12.0, "wt%")),
        ("3 scoops", "scoops", Quantity(3.0, "scoops")),
        (7, "h", Quantity(7.0, "h")),
    ],
)
def test_parse_quantity(text: str | float, unit: str | None, expected: Quantity):
    assert parse_quantity(text, unit) == expected


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("hot", None), ("1280", None), (1280, None), (True, "h"), ("1280 °X", None), ("3 scoops", "pinches"), ("", "h"),
        (float("nan"), "h"), (float("inf"), "h"), ("9e999 h", None), ("1 280 °C", None), ("1,280 °C", None),
        ("-1,280 °C", None), ("1e5e5 h", None),
    ],
)  # fmt: skip
def test_texts_that_are_no_quantity(text: str | float, unit: str | None):
    with pytest.raises(ValueError, match=r"not|no unit|two ways"):
        parse_quantity(text, unit)


def test_dimensions():
    assert dimension("degF") == "temperature"
    assert dimension("scoops") is None
    assert same_dimension("scoops", "scoops")
    assert not same_dimension("scoops", "pinches")
    assert same_dimension("inches", "mm")
    assert canonical(" lbs ") == "lb"
    assert canonical("scoops") == "scoops"
    assert "°F" in known_units("temperature")
    with pytest.raises(ValueError, match="cannot be turned"):
        convert(1, "kg", "mm")
    assert str(Quantity(1280.0, "°C")) == "1280 °C"
    assert Quantity(1.0, "in").in_unit("mm") == pytest.approx(25.4)
