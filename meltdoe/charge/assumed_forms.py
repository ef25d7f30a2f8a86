"""Names of materials that leave open how much water the stuff holds: which form was taken, and how to state another.

Borax is sold with ten, with five and without water, pearl ash with and without; the same grams then hold up to half as
much flux again or more. A name alone is read as the form that is sold most (common practice, no source), and that is
said wherever the weights are.
"""

from __future__ import annotations

from collections.abc import Collection

from meltdoe.charge.recipe_shares import materials_named
from meltdoe.glass.materials import find_material, plain
from meltdoe.series.melt_series import MeltSeries

__all__ = ["assumed_forms"]

_BORAX = ("borax decahydrate", "borax pentahydrate", "borax anhydrous")
_POTASH = ("calcined potash", "hydrated potash")
_OPEN = {"borax": _BORAX, "potash": _POTASH, "pearl ash": _POTASH, "pearlash": _POTASH, "potassium carbonate": _POTASH}


def assumed_forms(series: MeltSeries, used: Collection[str] | None = None) -> tuple[str, ...]:
    """What was taken for granted of materials whose name leaves their water open, one sentence each.

    Parameters
    ----------
    used : names of the materials in question; by default every one that the recipe can call for.
    """
    if series.recipe is None:
        return ()
    own = {material.name: material for material in series.materials}
    said = []
    for name in materials_named(series) if used is None else used:
        block = own.get(name)
        if block is not None and (block.formula or block.analysis or block.from_melt is not None):
            continue
        meant = (block.same_as if block is not None else "") or name
        forms = _OPEN.get(plain(meant))
        if forms is None:
            continue
        taken = find_material(meant)
        others = [form for form in forms if find_material(form).id != taken.id]
        share = 100.0 * taken.loss_on_firing
        said.append(
            f'"{meant}" is taken to be {taken.name}, of which {share:.0f} % leave as gas; where yours is another form, '
            f'say so in series.toml with [[material]], name = "{name}", same_as = '
            + " or ".join(f'"{form}"' for form in others)
        )
    return tuple(dict.fromkeys(said))
