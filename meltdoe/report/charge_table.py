"""What went into the crucible of each melt: as the log says it was weighed, else worked out from the settings used."""

from __future__ import annotations

from dataclasses import dataclass

from meltdoe.charge.earlier_melts import EarlierMelt, earlier_melts
from meltdoe.charge.recipe_shares import shelf_name, weighed_grams
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.charge.weights import MeltWeights, melt_weights
from meltdoe.glass.batch_weights import batch
from meltdoe.log.melt_log import Log
from meltdoe.report.tables import Column, Table
from meltdoe.series.factor import FloatArray
from meltdoe.units import Quantity, convert

__all__ = ["charge_table", "made_of", "to_weigh"]

_MATERIALS_ACROSS = 6  # more materials than these share one column
_NOTED, _WORKED_OUT = "the log", "the settings"


@dataclass(frozen=True, slots=True)
class _Charge:
    """The charge of one melt, in the unit of the balance; `why_not` where it is not known."""

    melt: int
    weights: dict[str, float]
    glass: float | None
    known_from: str
    why_not: str = ""


def charge_table(log: Log) -> Table | None:
    """Weights of every melt on record; None without a recipe or melts, or where the shelf itself is in doubt."""
    series = log.series
    if series.recipe is None or not log.entries:
        return None
    stocked = _stocked(log)
    if stocked is None:
        return None
    unit = series.recipe.balance.unit
    first: dict[int, EarlierMelt] = {}
    for melt in earlier_melts(series, log.entries):
        first.setdefault(melt.melt, melt)  # castings of one melt share its charge
    charges = [_charge(log, melt, stocked) for _, melt in sorted(first.items())]
    names = tuple(dict.fromkeys(name for charge in charges for name in charge.weights))
    apart = len(names) <= _MATERIALS_ACROSS
    columns = [Column("Melt", "number")]
    columns += [Column(f"{name} ({unit})", "number") for name in names] if apart else [Column("Weighed")]
    columns += [
        Column(f"whole charge ({unit})", "number"),
        Column(f"glass from it ({unit})", "number"),
        Column("known from"),
    ]
    rows = []
    for charge in charges:
        shown = {name: f"{value:g}" for name, value in charge.weights.items()}
        cells = (
            [shown.get(name, "") for name in names]
            if apart
            else ["; ".join(f"{n} {v} {unit}" for n, v in shown.items())]
        )
        whole = f"{sum(charge.weights.values()):g}" if charge.weights else ""
        glass = "" if charge.glass is None else f"{charge.glass:.4g}"
        rows.append((str(charge.melt), *cells, whole, glass, charge.known_from or f"not known: {charge.why_not}"))
    return Table(
        "What went into each crucible",
        tuple(columns),
        tuple(rows),
        f"Known from {_NOTED}: as somebody wrote down what was weighed. Known from {_WORKED_OUT}: worked out from the "
        "settings really used and the recipe, in steps of the balance. Glass: what is left when gas and water have "
        "gone.",
    )


def to_weigh(log: Log, raw: FloatArray) -> str:
    """What to weigh for one melt at a setting, in the order of weighing; empty where it cannot be worked out.

    Parameters
    ----------
    raw : (n_factors,) raw settings.
    """
    weights = _weights(log, raw)
    if weights is None:
        return ""
    lines = ", then ".join(f"{line.material} {line.weight}" for line in weights.lines)
    portions = f", in {weights.portions} portions" if weights.portions is not None and weights.portions > 1 else ""
    return (
        f"To weigh for one melt at this setting: {lines}; together {weights.charge}{portions}, for about "
        f"{weights.glass:.0f} g of glass. Worked out from the recipe."
    )


def made_of(log: Log, raw: FloatArray) -> str:
    """What the charge at a setting is made of, as shares; empty where it cannot be worked out."""
    weights = _weights(log, raw)
    if weights is None:
        return ""
    shares = ", ".join(f"{line.material} {line.share:.0f} %" for line in weights.lines)
    return f"Into the crucible goes, by weight: {shares}."


def _weights(log: Log, raw: FloatArray) -> MeltWeights | None:
    stocked = _stocked(log) if log.series.recipe is not None else None
    if stocked is None:
        return None
    try:
        return melt_weights(log.series, raw, stocked)
    except ValueError:
        return None


def _stocked(log: Log) -> Shelf | None:
    try:
        return shelf(log.series, earlier_melts(log.series, log.entries))
    except ValueError:
        return None  # a ring of remelted glass, which `check` names


def _charge(log: Log, melt: EarlierMelt, stocked: Shelf) -> _Charge:
    series = log.series
    unit = series.recipe.balance.unit if series.recipe is not None else "g"
    try:
        if not melt.weighed.strip():
            found = melt_weights(series, series.raw(melt.settings), stocked)
            weights = {line.material: line.weight.value for line in found.lines}
            return _Charge(melt.melt, weights, convert(found.glass, "g", unit), _WORKED_OUT)
        grams = {shelf_name(series, name): mass for name, mass in weighed_grams(melt.weighed).items()}
    except ValueError as fault:
        return _Charge(melt.melt, {}, None, "", str(fault))
    weights = {name: Quantity(mass, "g").in_unit(unit) for name, mass in grams.items()}
    try:
        materials = {name: stocked.material(name) for name in grams}
        glass = convert(batch(grams, sum(grams.values()), materials=materials).glass, "g", unit)
    except ValueError:
        return _Charge(melt.melt, weights, None, _NOTED)
    return _Charge(melt.melt, weights, glass, _NOTED)
