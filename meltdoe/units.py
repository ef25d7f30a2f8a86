"""Units of the trade: temperatures, lengths, masses, times, volumes and rates.

A value is kept and shown in the unit that it was given in; computation asks for it in SI. Only this module
knows the factors. Exact by definition: inch, foot, pound, ounce, degree Fahrenheit (international yard and pound
agreement 1959; BIPM SI brochure, 9th edition, for the degree Celsius).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

__all__ = [
    "Quantity", "canonical", "convert", "convert_difference", "dimension", "known_units", "parse_quantity",
    "same_dimension", "to_si",
]  # fmt: skip

# unit: (dimension, factor to SI, offset added after the factor)
_UNITS: dict[str, tuple[str, float, float]] = {
    "K": ("temperature", 1.0, 0.0),
    "°C": ("temperature", 1.0, 273.15),
    "°F": ("temperature", 5.0 / 9.0, 273.15 - 32.0 * 5.0 / 9.0),
    "m": ("length", 1.0, 0.0),
    "cm": ("length", 0.01, 0.0),
    "mm": ("length", 0.001, 0.0),
    "in": ("length", 0.0254, 0.0),
    "ft": ("length", 0.3048, 0.0),
    "kg": ("mass", 1.0, 0.0),
    "g": ("mass", 0.001, 0.0),
    "lb": ("mass", 0.45359237, 0.0),
    "oz": ("mass", 0.028349523125, 0.0),
    "s": ("time", 1.0, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "d": ("time", 86400.0, 0.0),
    "m3": ("volume", 1.0, 0.0),
    "l": ("volume", 0.001, 0.0),
    "ml": ("volume", 1e-6, 0.0),
    "cm3": ("volume", 1e-6, 0.0),
    "in3": ("volume", 1.6387064e-5, 0.0),
    "K/h": ("temperature rate", 1.0 / 3600.0, 0.0),
    "°C/h": ("temperature rate", 1.0 / 3600.0, 0.0),
    "°F/h": ("temperature rate", 5.0 / 9.0 / 3600.0, 0.0),
    "%": ("share", 0.01, 0.0),
    "wt%": ("share", 0.01, 0.0),
}
_SPELLINGS = {
    "C": "°C", "degC": "°C", "celsius": "°C", "℃": "°C", "ºC": "°C", "F": "°F", "degF": "°F", "fahrenheit": "°F",
    "℉": "°F", "ºF": "°F", "C/h": "°C/h", "F/h": "°F/h", "L": "l", "mL": "ml", "inch": "in", "inches": "in",
    "hour": "h", "hours": "h", "minutes": "min", "days": "d", "day": "d", "lbs": "lb", "mm³": "mm3", "cm³": "cm3",
    "in³": "in3", "m³": "m3", "% w/w": "wt%", "kgs": "kg", "grams": "g",
}  # fmt: skip
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}\Z")
_QUANTITY = re.compile(r"\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*\Z")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with the unit that it was given in."""

    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"

    def in_unit(self, unit: str) -> float:
        """The same quantity as a number of `unit`; raises ValueError where dimensions differ."""
        return convert(self.value, self.unit, unit)


def _known(unit: str) -> tuple[str, float, float] | None:
    plain = unit.strip()
    return _UNITS.get(_SPELLINGS.get(plain, plain))


def canonical(unit: str) -> str:
    """The unit as it is written everywhere ("degC" becomes "°C"); unknown units pass through unchanged."""
    plain = unit.strip()
    return _SPELLINGS.get(plain, plain)


def dimension(unit: str) -> str | None:
    """What a unit measures ("temperature", "mass", ...), or None for a unit that is only a label."""
    known = _known(unit)
    return None if known is None else known[0]


def same_dimension(first: str, second: str) -> bool:
    """Whether values can be converted between the two units."""
    if canonical(first) == canonical(second):
        return True
    kind = dimension(first)
    return kind is not None and kind == dimension(second)


def to_si(value: float, unit: str) -> float:
    """Value in SI base units (K, m, kg, s, m3, K/s); raises ValueError for an unknown unit."""
    known = _known(unit)
    if known is None:
        raise ValueError(f'unit "{unit}" is not known')
    return value * known[1] + known[2]


def convert(value: float, source: str, target: str) -> float:
    """Convert between two units of one dimension.

    Raises
    ------
    ValueError
        Where a unit is unknown or the dimensions differ.
    """
    if canonical(source) == canonical(target):
        return value
    if not same_dimension(source, target):
        raise ValueError(f'"{source}" cannot be turned into "{target}"')
    known = _UNITS[canonical(target)]
    return (to_si(value, source) - known[2]) / known[1]


def convert_difference(value: float, source: str, target: str) -> float:
    """Convert a step or a difference: 18 °F of difference are 10 °C, whatever the zeros of the two scales.

    Raises
    ------
    ValueError
        Where a unit is unknown or the dimensions differ.
    """
    return convert(value, source, target) - convert(0.0, source, target)


def known_units(kind: str) -> tuple[str, ...]:
    """The units of one dimension, as they are written everywhere."""
    return tuple(unit for unit, (measured, _, _) in _UNITS.items() if measured == kind)


def parse_quantity(text: str | float, unit: str | None = None) -> Quantity:
    """Read ``"1280 °C"``, ``"2.5 kg"`` or a bare number, which is then in `unit`.

    Raises
    ------
    ValueError
        Where the text is no finite number with a known unit, or is written so that it can be read in two ways
        ("1,280": one thousand or one point two eight?).
    """
    if isinstance(text, bool):
        raise ValueError(f'"{text}" is not a number with a unit')
    if isinstance(text, (int, float)):
        if not math.isfinite(text):
            raise ValueError(f'"{text}" is not a finite number')
        if unit is None:
            raise ValueError(f'"{text}" has no unit')
        return Quantity(float(text), canonical(unit))
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f'"{text}" is not a number with a unit')
    if _THOUSANDS.match(match.group(1)):
        raise ValueError(f'"{text}" can be read in two ways because of its comma')
    number = float(match.group(1).replace(",", "."))
    given = match.group(2) or unit
    if given is None:
        raise ValueError(f'"{text}" has no unit')
    if _known(given) is None and (unit is None or canonical(given) != canonical(unit)):
        raise ValueError(f'unit "{given}" is not known')
    if not math.isfinite(number):
        raise ValueError(f'"{text}" is not a finite number')
    return Quantity(number, canonical(given))
