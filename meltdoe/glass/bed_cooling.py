"""Cooling in a bed of vermiculite, ash or sand, against what a controlled kiln would do.

Steady conduction through a layer of `cover` mm around the piece, the heat of the bed itself left out. A real bed is
warmed by the piece and then cools more slowly; a slab is taken as endless, and a small one loses more by its edges.
Conductivity of the beds and heat capacity of hot glass are from memory (``data/cooling_beds.csv``). It is no
annealing: the rate cannot be set, is fastest where the glass is hottest, and is uneven where the cover is. Record the
real rate and treat it as a factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from meltdoe.glass.annealing import cooling_rate, cooling_stress
from meltdoe.glass.expansion_models import expansion, glass_density
from meltdoe.glass.named_viscosities import fixed_points
from meltdoe.glass.oxides import Composition, nearest
from meltdoe.glass.reference_tables import number, table

__all__ = ["BuriedCooling", "buried_cooling"]

_HEAT_CAPACITY = (
    1150.0  # J/(kg K) of glass near its annealing range, from memory; 720 to 800 at room temperature (printed)
)
_ROOM = 20.0  # °C
_DOUBT = 2.0  # an estimated rate may be half or twice the real one: judgement, no source


@dataclass(frozen=True, slots=True)
class BuriedCooling:
    """A bed against the kiln.

    Parameters
    ----------
    rate : K/h at the annealing point, estimated (`measured` False) or given.
    allowed : K/h for 1 MPa.
    stress : MPa that the rate freezes in.
    acceptable : whether the rate is no faster than the allowed one, or than half of it where it is estimated.
    measured : whether the rate was measured.
    sentence : the same in words.
    """

    rate: float
    allowed: float
    stress: float
    acceptable: bool
    measured: bool
    sentence: str


def buried_cooling(
    composition: Composition,
    shape: str,
    size: float,
    *,
    bed: str = "vermiculite",
    cover: float = 150.0,
    measured_rate: float | None = None,
) -> BuriedCooling:
    """Compare cooling in a bed with the rate that 1 MPa allows.

    Parameters
    ----------
    composition : wt%.
    shape : "slab" (covered on both faces), "cylinder" or "sphere".
    size : thickness or diameter in mm.
    bed : "vermiculite", "ash" or "sand".
    cover : thickness of the bed around the piece in mm.
    measured_rate : K/h read from a thermocouple near the annealing point, which then stands in place of the estimate.

    Raises
    ------
    ValueError
        For an unknown bed or shape, or a size or cover that is not above 0.
    """
    if not cover > 0.0:
        raise ValueError(f"cover must be above 0 mm, not {cover}")
    alpha = float(expansion(composition))
    allowed = float(cooling_rate(shape, size, alpha=alpha))
    rate = _estimated(composition, shape, size, bed, cover) if measured_rate is None else measured_rate
    stress = float(cooling_stress(shape, size, rate, alpha=alpha))
    beds = "the bed" if measured_rate is not None else f"{bed} {cover:g} mm thick"
    words = f"{beds} cools about {rate:.0f} K/h at the annealing point, where {allowed:.0f} K/h would give 1 MPa"
    limit = 1.0 if measured_rate is not None else 1.0 / _DOUBT
    verdict = "acceptable" if stress <= limit else f"that is about {stress:.1f} MPa, so use a kiln"
    return BuriedCooling(rate, allowed, stress, stress <= limit, measured_rate is not None, f"{words}: {verdict}")


def _estimated(composition: Composition, shape: str, size: float, bed: str, cover: float) -> float:
    """K/h at the annealing point: conduction through the cover over heat held by the piece."""
    beds = {row["bed"]: row for row in table("cooling_beds")}
    if bed not in beds:
        raise ValueError(f'bed "{bed}" is not known{nearest(bed, beds)}; beds are {", ".join(beds)}')
    conductivity = number(beds[bed], "conductivity_W_m_K")
    hot = next(point.celsius for point in fixed_points(composition) if point.id == "annealing") - _ROOM
    inner, layer = size / 2000.0, cover / 1000.0  # m: half thickness or radius, and the cover
    outer = inner + layer
    # heat lost per K over heat held per K, 1/s, per unit of face, of length, or of whole piece
    held = 1000.0 * float(glass_density(composition)) * _HEAT_CAPACITY
    per_second = {
        "slab": conductivity / layer / (inner * held),
        "cylinder": 2.0 * conductivity / math.log(outer / inner) / (inner**2 * held),
        "sphere": 3.0 * conductivity * outer / layer / (inner**2 * held),
    }
    if shape not in per_second:
        raise ValueError(f'a bed covers a "slab", "cylinder" or "sphere", not "{shape}"')
    return 3600.0 * hot * per_second[shape]
