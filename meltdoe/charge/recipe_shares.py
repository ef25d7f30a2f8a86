"""What a recipe puts into the crucible: settings to shares of each material, for any number of settings at once.

Shares are per cent by weight of the whole charge. Where the log says in words what was weighed, that counts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.glass.materials import plain
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import NOTHING, Recipe
from meltdoe.units import canonical, convert, dimension

__all__ = [
    "Shares", "charge_shares", "materials_named", "melt_in_name", "shares_of_melts", "shelf_name",
    "weighed_grams",
]  # fmt: skip

Shares = Mapping[str, FloatArray]
"""Per cent of the charge by name of material, arrays of one length."""

_MELT = re.compile(r"melt (\d{1,6})\Z")
_SEPARATOR = re.compile(r";|\+|,\s|\n")
_NUMBER = r"(?P<number>\d+(?:[.,]\d+)?)"
_LAST = re.compile(rf"(?P<name>.+?)\s*[:=]?\s+{_NUMBER}\s*(?P<unit>[^\W\d]+)\Z")
_FIRST = re.compile(rf"{_NUMBER}\s*(?P<unit>[^\W\d]+)\s+(?:of\s+)?(?P<name>.+)\Z")


def _recipe(series: MeltSeries) -> Recipe:
    if series.recipe is None:
        raise ValueError("the series has no [recipe]")
    return series.recipe


def melt_in_name(name: str) -> int | None:
    """3 for "melt 3", whose glass is meant; None for any other name."""
    found = _MELT.match(plain(name))
    return int(found[1]) if found else None


def shelf_name(series: MeltSeries, name: str) -> str:
    """One spelling for one material: that of the [[material]] block where there is one, also for "melt 3"."""
    wanted, melt = plain(name), melt_in_name(name)
    for own in series.materials:
        if plain(own.name) == wanted or (melt is not None and own.from_melt == melt):
            return own.name
    return name if melt is None else f"melt {melt}"


def materials_named(series: MeltSeries) -> tuple[str, ...]:
    """Every material that the recipe can call for, base first."""
    recipe = _recipe(series)
    names: list[str] = []
    for material, by in [(recipe.base, recipe.base_by), *((part.material, part.material_by) for part in recipe.parts)]:
        options = [material] if material else list(getattr(series.factor(by), "options", ()))
        names += [shelf_name(series, option) for option in options if plain(option) != NOTHING]
    return tuple(dict.fromkeys(names))


def charge_shares(series: MeltSeries, raw: FloatArray) -> dict[str, FloatArray]:
    """Shares of the charge at raw settings, every material that the recipe can call for.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings.

    Returns
    -------
    Per cent of the charge by name, each (n_melts,), adding up to 100.

    Raises
    ------
    ValueError
        Without a recipe, or where a share is negative, has no value or is unknown, or leaves nothing for the base.
    """
    recipe = _recipe(series)
    table = np.atleast_2d(np.asarray(raw, dtype=float))
    columns = {f.name: table[:, i] for i, f in enumerate(series.factors) if isinstance(f, Amount)}
    added: dict[str, FloatArray] = {name: np.zeros(len(table)) for name in materials_named(series)}
    asked = np.zeros(len(table))
    for part in recipe.parts:
        share = np.broadcast_to(part.share.value(columns), asked.shape)
        for name in (*part.share.names, *([part.material_by] if part.material_by else [])):
            _refuse_unknown(series, name, table)
        if not np.all(np.isfinite(share)) or np.any(share < 0.0):
            raise ValueError(f'the share "{part.share.text}" is no number of 0 or more at some setting')
        asked = asked + _put(series, added, part.material, part.material_by, share, table)
    if recipe.base_by:
        _refuse_unknown(series, recipe.base_by, table)
    left = 100.0 - asked if recipe.shares_of == "total" else np.full(len(table), 100.0)
    if np.any(left < -1e-9):
        raise ValueError(f"the shares add up to {float(np.max(asked)):.4g} per cent, which leaves nothing for the base")
    whole = asked + _put(series, added, recipe.base, recipe.base_by, np.maximum(left, 0.0), table)
    if np.any(whole <= 0.0):
        raise ValueError("the charge holds nothing at some setting")
    return {name: 100.0 * amount / whole for name, amount in added.items()}


def _refuse_unknown(series: MeltSeries, name: str, table: FloatArray) -> None:
    if np.isnan(table[:, series.factor_names.index(name)]).any():
        raise ValueError(f"{name} is unknown, and with it what went into the charge")


def _put(
    series: MeltSeries, into: dict[str, FloatArray], material: str, by: str, share: FloatArray, table: FloatArray
) -> FloatArray:
    """Add a share to the material, or to the one that a factor chooses; returns what was really added."""
    if material:
        into[shelf_name(series, material)] = into[shelf_name(series, material)] + share
        return share
    position = series.factor_names.index(by)
    really = np.zeros(len(table))
    for number, option in enumerate(getattr(series.factor(by), "options", ())):
        if plain(option) == NOTHING:
            continue
        chosen = np.where(table[:, position] == number, share, 0.0)
        into[shelf_name(series, option)] = into[shelf_name(series, option)] + chosen
        really = really + chosen
    return really


def weighed_grams(text: str) -> dict[str, float]:
    """Read "obsidian 640 g, soda ash 150 g + melt 3 120 g"; the mass may also stand first, the unit is never left out.

    Raises
    ------
    ValueError
        Where a part has no name, number and unit of mass, or a name comes twice.
    """
    grams: dict[str, float] = {}
    for piece in (piece.strip() for piece in _SEPARATOR.split(text)):
        if not piece:
            continue
        match = _FIRST.match(piece) or _LAST.match(piece)
        if match is None or dimension(canonical(match["unit"])) != "mass":
            raise ValueError(f'"{piece}" is no material with its mass; write it as "soda ash 150 g"')
        name = " ".join(match["name"].split())
        if plain(name) in {plain(other) for other in grams}:
            raise ValueError(f'"{name}" is weighed twice; write its whole mass once')
        grams[name] = convert(float(match["number"].replace(",", ".")), canonical(match["unit"]), "g")
    if not sum(grams.values()) > 0.0:
        raise ValueError(f'"{text}" holds no mass')
    return grams


def shares_of_melts(series: MeltSeries, melts: Sequence[EarlierMelt]) -> dict[str, FloatArray]:
    """Shares of the charges of melts as they really were: what was weighed where the log says so, else the settings.

    Raises
    ------
    ValueError
        As `charge_shares` and `weighed_grams`.
    """
    raw = series.raw_table(melt.settings for melt in melts)
    told = np.array([bool(melt.weighed.strip()) for melt in melts], dtype=bool)
    shares = {name: np.zeros(len(melts)) for name in materials_named(series)}
    if not np.all(told):
        for name, values in charge_shares(series, raw[~told]).items():
            shares[name][~told] = values
    for row, melt in enumerate(melts):
        if not told[row]:
            continue
        grams = weighed_grams(melt.weighed)
        for name, mass in grams.items():
            column = shares.setdefault(shelf_name(series, name), np.zeros(len(melts)))
            column[row] += 100.0 * mass / sum(grams.values())
    return shares
