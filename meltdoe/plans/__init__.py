"""The plan: patterns of settings, exact optimal designs and what they can tell apart.

Names are loaded when first asked for, so that ``import meltdoe.plans`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meltdoe.plans.draw_up import make_plan
    from meltdoe.plans.families.response_surface import box_behnken, central_composite
    from meltdoe.plans.families.screening import definitive_screening, plackett_burman
    from meltdoe.plans.fractions.fractional import fraction
    from meltdoe.plans.merits.assessment import assess
    from meltdoe.plans.optimal.candidates import candidate_settings
    from meltdoe.plans.optimal.coordinate_exchange import exchange

__all__ = [
    "assess",
    "box_behnken",
    "candidate_settings",
    "central_composite",
    "definitive_screening",
    "exchange",
    "fraction",
    "make_plan",
    "plackett_burman",
]

_HOME = {
    "assess": "merits.assessment",
    "box_behnken": "families.response_surface",
    "candidate_settings": "optimal.candidates",
    "central_composite": "families.response_surface",
    "definitive_screening": "families.screening",
    "exchange": "optimal.coordinate_exchange",
    "fraction": "fractions.fractional",
    "make_plan": "draw_up",
    "plackett_burman": "families.screening",
}


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
