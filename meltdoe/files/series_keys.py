"""The keys of series.toml, and how the user's own words are shown in a problem."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

__all__ = ["EXAMPLES", "KEYS", "OTHER_WORDS", "SERIES_FILE", "listed", "nearest", "quoted"]

SERIES_FILE = "series.toml"

KEYS: Mapping[str, tuple[str, ...]] = {  # heading as people write it: the keys below it; "" is the top of the file
    "": (
        "format", "title", "goal", "target_chance", "seed", "budget", "kiln", "mould", "factor", "limit", "outcome",
        "cost", "belief", "term", "circumstance",
    ),
    "[budget]": ("melts", "firings", "money", "currency"),
    "[kiln]": ("melts_per_firing", "max_temperature"),
    "[mould]": ("moulds_per_melt",),
    "[[factor]]": ("name", "label", "kind", "unit", "low", "high", "step", "scale", "options", "set_per"),
    "[[limit]]": ("keep", "why"),
    "[[outcome]]": ("name", "question", "kind", "unit", "grades", "bounds", "after", "good", "seen_per"),
    "[cost]": ("melt", "firing", "loss"),
    "[[belief]]": ("at", "outcome", "chance", "worth"),
    "[[term]]": ("use",),
    "[[circumstance]]": ("name", "label", "unit", "options"),
}  # fmt: skip
EXAMPLES = {
    "title": '"Flux and heat"', "name": '"flux"', "kind": '"amount"', "low": "15", "high": "40", "step": "1",
    "options": '["loose", "firm"]', "keep": '"flux + 0.1 * peak <= 160"', "grades": '["none", "hairline", "open"]',
    "good": '"at least 95"', "at": "{ flux = 20 }", "outcome": '"contained"', "chance": "0.6", "worth": "1",
    "use": '"flux * peak"', "max_temperature": '"1280 °C"', "bounds": "[0, 100]", "target_chance": "0.8",
    "money": "400.0", "melts": "14", "firings": "6", "currency": '"EUR"', "seed": "1", "format": "1",
    "melts_per_firing": "3", "moulds_per_melt": "2", "melt": "12.0", "firing": "9.5",
}  # fmt: skip
OTHER_WORDS = {
    "min": "low", "minimum": "low", "from": "low", "max": "high", "maximum": "high", "to": "high", "levels": "options",
    "values": "options", "type": "kind", "reason": "why", "because": "why", "probability": "chance", "weight": "worth",
    "units": "unit", "limits": "bounds", "transform": "scale", "increment": "step",
}  # fmt: skip


def quoted(value: object) -> str:
    """The user's own text in quotation marks, on one line and not too long."""
    try:
        text = str(value)
    except ValueError:  # Python writes out no whole number of more than 4300 digits
        text = "a number of thousands of digits"
    text = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return f'"{text if len(text) <= 60 else text[:57] + "..."}"'


def listed(words: Iterable[str]) -> str:
    """Words as a phrase: "a", "b" and "c"."""
    marked = [quoted(word) for word in words]
    return marked[0] if len(marked) == 1 else ", ".join(marked[:-1]) + " and " + marked[-1] if marked else "none"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, if any is near."""
    by_folded = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(word[:60].casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[found[0]] if found else None
