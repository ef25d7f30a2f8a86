"""Glass that is known before the first melt: batch weights, gas, viscosity, expansion, annealing, cautions.

Numbers in, numbers out: no files of the user, no printing. Public names are loaded when they are asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.glass.annealing import (
        CoolingSchedule,
        CoolingStep,
        anneal_schedule,
        cooling_rate,
        cooling_stress,
        thermal_shock_limit,
    )
    from meltdoe.glass.batch_weights import Batch, Gas, batch, gas_per_kg, glass_composition, round_to_total
    from meltdoe.glass.bed_cooling import BuriedCooling, buried_cooling
    from meltdoe.glass.cautions import Caution, all_cautions, cautions_for, cautions_from_words
    from meltdoe.glass.crucibles import FillLimit, fill_limit
    from meltdoe.glass.expansion_models import Expansion, expansion, expansion_estimate, glass_density, melt_density
    from meltdoe.glass.lots import Lot, LotBook, lot_book
    from meltdoe.glass.materials import Material, base_glass, find_material
    from meltdoe.glass.named_viscosities import (
        FixedPoint,
        PouringRange,
        bubble_rise,
        fixed_points,
        pour_verdict,
        pouring_range,
    )
    from meltdoe.glass.oxides import normalise, to_mole_percent, to_weight_percent
    from meltdoe.glass.viscosity_curve import ModelRefuses
    from meltdoe.glass.viscosity_models import Temperature, Viscosity, temperature_at, viscosity

_HOME = {
    "annealing": (
        "CoolingSchedule", "CoolingStep", "anneal_schedule", "cooling_rate", "cooling_stress", "thermal_shock_limit",
    ),
    "batch_weights": ("Batch", "Gas", "batch", "gas_per_kg", "glass_composition", "round_to_total"),
    "bed_cooling": ("BuriedCooling", "buried_cooling"),
    "cautions": ("Caution", "all_cautions", "cautions_for", "cautions_from_words"),
    "crucibles": ("FillLimit", "fill_limit"),
    "expansion_models": ("Expansion", "expansion", "expansion_estimate", "glass_density", "melt_density"),
    "named_viscosities": ("FixedPoint", "PouringRange", "bubble_rise", "fixed_points", "pour_verdict", "pouring_range"),
    "lots": ("Lot", "LotBook", "lot_book"),
    "materials": ("Material", "base_glass", "find_material"),
    "oxides": ("normalise", "to_mole_percent", "to_weight_percent"),
    "viscosity_curve": ("ModelRefuses",),
    "viscosity_models": ("Temperature", "Viscosity", "temperature_at", "viscosity"),
}  # fmt: skip
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "Batch",
    "BuriedCooling",
    "Caution",
    "CoolingSchedule",
    "CoolingStep",
    "Expansion",
    "FillLimit",
    "FixedPoint",
    "Gas",
    "Lot",
    "LotBook",
    "Material",
    "ModelRefuses",
    "PouringRange",
    "Temperature",
    "Viscosity",
    "all_cautions",
    "anneal_schedule",
    "base_glass",
    "batch",
    "bubble_rise",
    "buried_cooling",
    "cautions_for",
    "cautions_from_words",
    "cooling_rate",
    "cooling_stress",
    "expansion",
    "expansion_estimate",
    "fill_limit",
    "find_material",
    "fixed_points",
    "gas_per_kg",
    "glass_composition",
    "glass_density",
    "lot_book",
    "melt_density",
    "normalise",
    "pour_verdict",
    "pouring_range",
    "round_to_total",
    "temperature_at",
    "thermal_shock_limit",
    "to_mole_percent",
    "to_weight_percent",
    "viscosity",
]


def __getattr__(name: str) -> Any:
    if name in _MODULE_OF:
        return getattr(import_module(f"meltdoe.glass.{_MODULE_OF[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
