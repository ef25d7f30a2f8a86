"""The keys of series.toml, and the words that people write for them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

__all__ = ["EXAMPLES", "KEYS", "OTHER_WORDS", "SERIES_FILE", "nearest"]

SERIES_FILE = "series.toml"

KEYS: Mapping[str, tuple[str, ...]] = {  # heading as people write it: the keys below it; "" is the top of the file
    "": (
        "format", "title", "goal", "target_chance", "seed", "budget", "kiln", "mould", "factor", "limit", "outcome",
        "cost", "belief", "term", "circumstance", "recipe", "part", "material", "supply", "cooling",
        "chemistry",
    ),
    "[budget]": ("melts", "firings", "money", "currency"),
    "[kiln]": ("melts_per_firing", "max_temperature"),
    "[mould]": ("moulds_per_melt", "volume", "casting", "at_thickness"),
    "[[factor]]": (
        "name", "label", "kind", "unit", "low", "high", "step", "scale", "options", "set_per", "earlier", "gone",
    ),
    "[[limit]]": ("keep", "why"),
    "[[outcome]]": ("name", "question", "kind", "unit", "grades", "bounds", "after", "good", "seen_per"),
    "[cost]": ("melt", "firing", "loss"),
    "[[belief]]": ("at", "outcome", "chance", "worth"),
    "[[term]]": ("use", "outcome"),
    "[[circumstance]]": ("name", "label", "unit", "options"),
    "[recipe]": (
        "base", "base_by", "shares_of", "charge", "pour_loss", "crucible", "balance", "pours_at", "held_for", "weighed",
    ),
    "[[part]]": ("material", "material_by", "share"),
    "[[material]]": ("name", "formula", "analysis", "same_as", "from_melt", "water", "price", "pack", "stock"),
    "[[supply]]": ("name", "amount", "per", "lasts", "lost_with", "price", "pack", "stock"),
    "[chemistry]": ("pour", "boil_over", "crack", "worth", "trust", "use", "stiffest"),
    "[cooling]": ("thickness", "shape", "in_mould", "furnace_rate", "bed", "cover"),
}  # fmt: skip
EXAMPLES = {
    "title": '"Flux and heat"', "name": '"flux"', "kind": '"amount"', "low": "15", "high": "40", "step": "1",
    "options": '["loose", "firm"]', "keep": '"flux + 0.1 * peak <= 160"', "grades": '["none", "hairline", "open"]',
    "good": '"at least 95"', "at": "{ flux = 20 }", "outcome": '"contained"', "chance": "0.6", "worth": "1",
    "use": '"flux * peak"', "max_temperature": '"1280 °C"', "bounds": "[0, 100]", "target_chance": "0.8",
    "money": "400.0", "melts": "14", "firings": "6", "currency": '"EUR"', "seed": "1", "format": "1",
    "melts_per_firing": "3", "moulds_per_melt": "2", "melt": "12.0", "firing": "9.5", "base": '"obsidian"',
    "base_by": '"rock"', "shares_of": '"total"', "charge": '"900 g"', "pour_loss": "8", "crucible": '"600 ml"',
    "balance": '"1 g"', "pours_at": '"peak"', "held_for": '"hold"', "weighed": '"weighed"', "material": '"soda ash"',
    "material_by": '"flux_kind"', "share": '"flux"', "formula": '"Na2CO3"', "same_as": '"soda ash"', "from_melt": "3",
    "analysis": "{ SiO2 = 74.1, Al2O3 = 13.2, Na2O = 4.3, K2O = 4.5, CaO = 1.1, FeO = 1.7, H2O = 0.3 }",
    "water": "0.3", "price": "18.5", "pack": '"5 kg"', "stock": '"1.2 kg"', "amount": '"3 kg"', "lasts": "2",
    "lost_with": '"contained"', "volume": '"350 ml"', "casting": '"800 g"', "thickness": '"40 mm"', "cover": '"150 mm"',
    "at_thickness": '"40 mm"',
    "pour": '"poured"', "boil_over": '"contained"', "crack": '"cracks"', "stiffest": "4", "trust": "0.1",
    "gone": '["loose"]', "furnace_rate": '"60 °C/h"', "bed": '"vermiculite"',
}  # fmt: skip
OTHER_WORDS = {
    "min": "low", "minimum": "low", "from": "low", "max": "high", "maximum": "high", "to": "high", "levels": "options",
    "values": "options", "type": "kind", "reason": "why", "because": "why", "probability": "chance", "weight": "worth",
    "units": "unit", "limits": "bounds", "transform": "scale", "increment": "step",
}  # fmt: skip


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, if any is near."""
    by_folded = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(word[:60].casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[found[0]] if found else None
