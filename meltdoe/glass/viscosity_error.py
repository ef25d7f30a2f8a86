"""How far a computed viscosity may be out.

The standard deviation is the cross-validated root mean square error of the model in the family of glass and the range
of viscosity (``data/viscosity_model_error.csv``), or the median over the families for a glass of none, not below 0.35
for FLUXFIT, 0.40 for GRD and 0.16 for Lakatos. A guessed analysis of the rock adds 0.36 in quadrature, so that 0.35
becomes 0.50. Outside the range of a model and of the measured families it is doubled.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np

from meltdoe.glass.oxides import Array
from meltdoe.glass.reference_tables import Row, number, table
from meltdoe.glass.viscosity_curve import Mask

__all__ = ["log10_sd"]

# log10 Pa s: the spread that each model is given at least; grd as published, the others cross-validated
_LEAST_SD = {"fluxfit": 0.35, "grd": 0.40, "lakatos": 0.16}
_LEAST_SD_BORON_AND_LITHIUM = 0.60
_GUESSED_ANALYSIS = np.sqrt(0.50**2 - 0.35**2)


@cache
def _errors(model: str) -> dict[str, tuple[Array, Array]]:
    """Measured rms error of a model by family: log10 Pa s at the middle of each range, and the error there."""
    by_family: dict[str, list[Row]] = {}
    for row in table("viscosity_model_error"):
        if row[f"{model}_rmse"]:
            by_family.setdefault(row["family"], []).append(row)
    errors = {}
    for family, rows in by_family.items():
        middles = [(number(row, "log10_low") + number(row, "log10_high")) / 2.0 for row in rows]
        errors[family] = (np.array(middles), np.array([number(row, f"{model}_rmse") for row in rows]))
    return errors


def _in_family(row: Row, mole_percent: dict[str, Array]) -> Mask:
    """Which glasses belong to a family, by the bounds in mole per cent of ``data/viscosity_families.csv``."""

    def summed(*oxides: str) -> Array:
        return np.asarray(sum(mole_percent.get(oxide, np.zeros(())) for oxide in oxides), dtype=float)

    sums = {
        "alkali": summed("Na2O", "K2O", "Li2O"),
        "RO": summed("CaO", "MgO", "BaO", "SrO"),
        **{oxide: summed(oxide) for oxide in ("SiO2", "Al2O3", "Na2O", "B2O3", "Li2O")},
    }
    inside = np.ones((), dtype=bool)
    for name, values in sums.items():
        low, high = number(row, f"{name}_min", -np.inf), number(row, f"{name}_max", np.inf)
        inside = inside & (values >= low) & (values <= high)
    return np.asarray(inside)


def log10_sd(
    used: Mapping[str, Mask], mole_percent: dict[str, Array], outside: Mask, log10: Array, known_analysis: bool
) -> Array:
    """Standard deviation of log10 Pa s, one element a value of `log10`.

    Parameters
    ----------
    used : model to the glasses that it stands for.
    mole_percent : of the dry glass by oxide.
    outside : which glasses lie outside the range of the model that stands for them.
    known_analysis : False where a typical analysis stands in for that of the rock.
    """
    shape = np.shape(log10)
    spread = np.zeros(shape)
    both = np.asarray((mole_percent.get("B2O3", np.zeros(())) > 0.5) & (mole_percent.get("Li2O", np.zeros(())) > 0.5))
    for model, mask in used.items():
        errors = _errors(model)
        usual = np.median([np.interp(log10, *points) for points in errors.values()], axis=0)
        sd, met = usual, np.zeros(shape, dtype=bool)
        for row in table("viscosity_families"):
            if row["family"] in errors:
                member = np.broadcast_to(_in_family(row, mole_percent), shape) & ~met
                sd = np.where(member, np.interp(log10, *errors[row["family"]]), sd)
                met = met | member
        sd = np.where(~met & np.broadcast_to(outside, shape), 2.0 * sd, sd)
        least = np.where(both, max(_LEAST_SD_BORON_AND_LITHIUM, _LEAST_SD[model]), _LEAST_SD[model])
        spread = np.where(np.broadcast_to(mask, shape), np.maximum(sd, least), spread)
    return spread if known_analysis else np.hypot(spread, _GUESSED_ANALYSIS)
