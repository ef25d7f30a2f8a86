"""The plan: patterns of settings, exact optimal designs and what they can tell apart.

Names are loaded when first asked for, so that ``import meltdoe.plans`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meltdoe.plans.assessment import assess
    from meltdoe.plans.candidates import candidate_settings
    from meltdoe.plans.coordinate_exchange import exchange
    from meltdoe.plans.draw_up import make_plan
    from meltdoe.plans.fractional import fraction
    from meltdoe.plans.response_surface import box_behnken, central_composite
    from meltdoe.plans.screening import definitive_screening, plackett_burman

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
    "assess": "assessment",
    "box_behnken": "response_surface",
    "candidate_settings": "candidates",
    "central_composite": "response_surface",
    "definitive_screening": "screening",
    "exchange": "coordinate_exchange",
    "fraction": "fractional",
    "make_plan": "draw_up",
    "plackett_burman": "screening",
}


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
