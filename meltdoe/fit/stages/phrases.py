"""Numbers to words: the small phrases from which every sentence on a fit is made, in one voice.

Nothing here computes; every function takes plain numbers and returns text without a full stop.
"""

from __future__ import annotations

import math

from meltdoe.series.outcome import Outcome
from meltdoe.wording import capital, listed, melts_phrase

__all__ = [
    "capital",
    "good_phrase",
    "interval_phrase",
    "level_phrase",
    "listed",
    "measure",
    "melts_phrase",
    "p_phrase",
    "percent",
    "points",
]


def percent(chance: float) -> str:
    """ "61 %"; what would round to 0 or 100 is said as "under 1 %" or "over 99 %"."""
    if chance <= 0.005:
        return "under 1 %"
    if chance >= 0.995:
        return "over 99 %"
    return f"{round(100 * chance):d} %"


def points(change: float) -> str:
    """A change of a chance in percentage points with its sign: "+4", "-12", "0"."""
    whole = round(100 * change)
    return f"{whole:+d}" if whole else "0"


def measure(value: float, unit: str = "", *, sign: bool = False) -> str:
    """A measured number to three significant digits with its unit: "12.5 mm", "+3 %"."""
    if not math.isfinite(value):
        return "unknown"
    digits = 2 - math.floor(math.log10(abs(value))) if value else 0
    rounded = round(value, digits) + 0.0
    text = f"{rounded:.{max(digits, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if sign and rounded > 0:
        text = f"+{text}"
    return f"{text} {unit}".strip()


def level_phrase(level: float) -> str:
    """ "90 % probability" for the level of a posterior interval."""
    return f"{100 * level:g} % probability"


def interval_phrase(low: float, high: float, level: float) -> str:
    """ "between 12 % and 61 % with 90 % probability"."""
    return f"between {percent(low)} and {percent(high)} with {level_phrase(level)}"


def p_phrase(p_value: float) -> str:
    """How surprising the data would be without an effect: "p = 0.03", "p < 0.001"."""
    if p_value < 0.001:
        return "p < 0.001"
    return f"p = {p_value:.3f}" if p_value < 0.1 else f"p = {p_value:.2f}"


def good_phrase(outcome: Outcome) -> str:
    """What a good outcome is called: "contained", "cracks none or hairline", "fill at least 95 %"."""
    name = outcome.name.replace("_", " ")
    if outcome.kind == "pass":
        return name
    return f"{name} {outcome.good_words or ''.join(outcome.grades[:1])}".strip()
