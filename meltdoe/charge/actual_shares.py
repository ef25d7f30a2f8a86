"""Actual shares: what the factors of the recipe really were once remelted glass and weighed amounts are counted.

Glass that is crushed and melted again brings its flux along, so a melt of 95 parts of old glass and 5 of soda ash is no
melt with 5 per cent of soda ash. Every share of the recipe that is one factor alone is worked out again from what was
bought for the charge, on the same basis as the recipe states it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meltdoe.charge.earlier_melts import EarlierMelt, Recorded, earlier_melts
from meltdoe.charge.recipe_shares import materials_named, melt_in_name, shares_of_melts, shelf_name
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.glass.materials import find_material, plain
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import NOTHING, Part

__all__ = ["ActualSettings", "OtherOption", "actual_raw", "actual_settings", "share_factors"]


@dataclass(frozen=True, slots=True)
class OtherOption:
    """A melt whose part of the recipe was mostly another option than is written.

    Parameters
    ----------
    melt, factor : its number and the name of the factor that chooses the material.
    written, really : the option on record and the one of which most was there.
    """

    melt: int
    factor: str
    written: str
    really: str


@dataclass(frozen=True, slots=True, eq=False)
class ActualSettings:
    """Raw settings of recorded melts as they really were.

    Parameters
    ----------
    raw : (n_rows, n_factors).
    changed : numbers of melts where that differs from what is written as their settings.
    unread : numbers of melts that keep what is written, since their charge could not be worked out.
    others : where a choice counts as written though most of what went in was another option.
    """

    raw: FloatArray
    changed: tuple[int, ...] = ()
    unread: tuple[int, ...] = ()
    others: tuple[OtherOption, ...] = ()


def actual_settings(series: MeltSeries, recorded: Sequence[Recorded]) -> ActualSettings:
    """The settings of the rows of a log with the shares as they really were; nothing is raised.

    Parameters
    ----------
    recorded : rows of the log, in any order; the result keeps it.
    """
    written = series.raw_table(row.settings for row in recorded)
    melts = earlier_melts(series, recorded)
    if series.recipe is None or not _may_differ(series, melts):
        return ActualSettings(written)
    raw = written.copy()
    complete = np.asarray(np.isfinite(written).all(axis=1))
    sound = [melt for melt, whole in zip(melts, complete, strict=True) if whole]
    unread: list[int] = []
    try:
        raw[complete] = actual_raw(series, sound)
    except ValueError:  # one bad charge must not silence the others: each is asked by itself, with all on the shelf
        for i in np.flatnonzero(complete):
            try:
                raw[i] = actual_raw(series, [melts[i]], shelf(series, sound))[0]
            except ValueError:
                unread.append(melts[i].melt)
    differs = ~np.isclose(raw, written, rtol=1e-9, atol=1e-9, equal_nan=True).all(axis=1)
    raw[~differs] = written[~differs]
    changed = sorted({melts[i].melt for i in np.flatnonzero(differs)})
    read = [melt for melt in sound if melt.melt not in unread]
    others = _other_options(series, read, shelf(series, sound)) if read else ()
    return ActualSettings(raw, tuple(changed), tuple(sorted(set(unread))), others)


def _other_options(series: MeltSeries, melts: Sequence[EarlierMelt], stocked: Shelf) -> tuple[OtherOption, ...]:
    """Melts with remelted glass or weights on record that hold more of another option than of the one written."""
    shares = shares_of_melts(series, melts)
    touched, bought = _touched(melts, shares, stocked), _bought(shares, stocked)
    parts = () if series.recipe is None else series.recipe.parts
    ids = [_id(stocked, name) for part in parts for name in _named(series, part)]
    found = {}
    for part in parts:
        options = {option: _id(stocked, shelf_name(series, option)) for option in _materials(series, part)}
        if not part.material_by or any(ids.count(one) > 1 for one in options.values()):
            continue
        for i in map(int, np.flatnonzero(touched)):
            grams = {option: float(bought[one][i]) for option, one in options.items() if one in bought}
            written = str(melts[i].settings.get(part.material_by, ""))
            really = max(grams, key=lambda option: grams[option], default=written)
            if written and grams.get(really, 0.0) > grams.get(written, 0.0):
                found[melts[i].melt, part.material_by] = OtherOption(melts[i].melt, part.material_by, written, really)
    return tuple(found[key] for key in sorted(found))


def _may_differ(series: MeltSeries, melts: Sequence[EarlierMelt]) -> bool:
    """Whether anything was weighed otherwise, or glass of a melt can be in the charge."""
    lots = {own.name for own in series.materials if own.from_melt is not None}
    named = materials_named(series)
    return any(melt.weighed.strip() for melt in melts) or any(n in lots or melt_in_name(n) for n in named)


def share_factors(series: MeltSeries) -> dict[str, tuple[str, ...]]:
    """Factors that are the share of a part by themselves, with the materials that they may stand for."""
    found: dict[str, tuple[str, ...]] = {}
    parts = () if series.recipe is None else series.recipe.parts
    uses = [name for part in parts for name in part.share.names]
    for part in parts:
        name = part.share.text.strip()
        if uses.count(name) == 1 and name in series.factor_names and isinstance(series.factor(name), Amount):
            found[name] = tuple(shelf_name(series, material) for material in _materials(series, part))
    return found


def _materials(series: MeltSeries, part: Part) -> list[str]:
    if part.material:
        return [part.material]
    return [o for o in getattr(series.factor(part.material_by), "options", ()) if plain(o) != NOTHING]


def actual_raw(series: MeltSeries, melts: Sequence[EarlierMelt], on_shelf: Shelf | None = None) -> FloatArray:
    """Raw settings of melts with the shares as they really were, (n_melts, n_factors).

    Only melts with remelted glass or with weights on record are touched; all others keep their row exactly. A factor
    whose materials stand in other parts as well keeps what is written, since nobody can say to which part they belong.

    Parameters
    ----------
    on_shelf : by default a shelf with the glass of these melts.

    Raises
    ------
    ValueError
        As `shares_of_melts`, or where a charge calls for a material that is not known.
    """
    raw = series.raw_table(melt.settings for melt in melts)
    factors = share_factors(series)
    if series.recipe is None or not factors or not len(raw):
        return raw
    stocked = on_shelf or shelf(series, melts)
    shares = shares_of_melts(series, melts)
    touched = _touched(melts, shares, stocked)
    bought = _bought(shares, stocked)
    whole = np.asarray(sum(bought.values()), dtype=float)
    if series.recipe.shares_of == "base":
        added = {_id(stocked, name) for part in series.recipe.parts for name in _named(series, part)}
        whole = np.asarray(sum((v for k, v in bought.items() if k not in added), start=np.zeros(len(raw))))
    ids = [_id(stocked, name) for part in series.recipe.parts for name in _named(series, part)]
    base = {_id(stocked, name) for name in _base(series)}
    for factor, names in factors.items():
        own = {_id(stocked, name) for name in names}
        if any(ids.count(one) > 1 for one in own) or own & base:
            continue
        share = 100.0 * sum((bought.get(one, np.zeros(len(raw))) for one in own), start=np.zeros(len(raw))) / whole
        column = series.factor_names.index(factor)
        raw[touched, column] = share[touched]
    return raw


def _touched(melts: Sequence[EarlierMelt], shares: Mapping[str, FloatArray], stocked: Shelf) -> NDArray[np.bool_]:
    """Which melts hold remelted glass or have weights on record."""
    remelted = sum((values for name, values in shares.items() if name in stocked.lots), start=np.zeros(len(melts)))
    return np.asarray((remelted > 0.0) | np.array([bool(melt.weighed.strip()) for melt in melts]))


def _named(series: MeltSeries, part: Part) -> list[str]:
    return [shelf_name(series, name) for name in _materials(series, part)]


def _base(series: MeltSeries) -> list[str]:
    parts = () if series.recipe is None else series.recipe.parts
    added = {name for part in parts for name in _named(series, part)}
    return [name for name in materials_named(series) if name not in added]


def _id(stocked: Shelf, name: str) -> str:
    """The key that `LotBook.traced` gives to a bought material; of remelted glass its own name."""
    own = {plain(key): key for key in stocked.book.materials}
    return own.get(plain(name)) or find_material(name).id


def _bought(shares: dict[str, FloatArray], stocked: Shelf) -> dict[str, FloatArray]:
    bought: dict[str, FloatArray] = {}
    for name, values in shares.items():
        if np.any(values > 0.0):
            stocked.material(name)  # refuses what is not known
            for source, per_part in stocked.book.traced({name: 1.0}).items():
                bought[source] = bought.get(source, np.zeros(len(values))) + values * per_part
    return bought
