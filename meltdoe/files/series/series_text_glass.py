"""Writing the parts of series.toml that speak of the glass: recipe, materials, supplies, cooling."""

from __future__ import annotations

from dataclasses import replace

from meltdoe.charge.chemistry_prior import with_chemistry
from meltdoe.files.series.toml_words import (
    blocks_of,
    given,
    lines_of,
    switched_off,
    text_or_none,
    toml_key,
    toml_number,
    toml_quantity,
    toml_text,
)  # fmt: skip
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.factor import Amount
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import Cooling, OwnMaterial, Part, Recipe, Supply
from meltdoe.units import Quantity, dimension

__all__ = ["glass_examples", "glass_parts"]

_RECIPE = """\
# What goes into the crucible: a base glass, and parts whose share is a number, a factor, or arithmetic over factors.
# shares_of = "total" counts per cent of the whole charge (the base is what is left of 100),
# shares_of = "base" counts parts added to 100 parts of the base.
# base_by and material_by name a choice factor whose options are materials ("none" adds nothing).
"""
_MATERIALS = """\
# Materials of your own (by formula, by analysis in wt%, or the glass of an earlier melt), and price and stock of any.
"""
_SUPPLIES = "# What is used up beside the charge, per melt, mould or firing: crucibles, moulding sand.\n"
_COOLING = (
    "# The casting and the furnace that it cools in; a bed of insulation is compared with it where one is named.\n"
)


_CHEMISTRY = """\
# What the composition lets expect. Each of these names the outcome that it speaks about: pour (by the viscosity),
# boil_over (by the gas of the charge), crack (by the expansion); leave out what does not apply.
# worth: how many melts' worth of evidence that is for each, where it is right;
# trust: the chance that it is right, between 0 and 1, which the melts change. use = false switches it all off.
# stiffest: nothing is proposed that is surely stiffer at the pour than this power of ten in Pa s.
"""


def glass_parts(series: MeltSeries) -> list[str]:
    """Every block that the series uses, in the order of the file."""
    recipe = series.recipe
    found = []
    if recipe is not None:
        found.append(_RECIPE + lines_of(["[recipe]", *_recipe(recipe)]))
        found += [blocks_of("part", map(_part, recipe.parts))] if recipe.parts else []
    if series.materials:
        found.append(_MATERIALS + blocks_of("material", map(_material, series.materials)))
    if series.supplies:
        found.append(_SUPPLIES + blocks_of("supply", map(_supply, series.supplies)))
    if series.cooling is not None:
        found.append(_COOLING + lines_of(["[cooling]", *_cooling(series.cooling)]))
    if series.chemistry is not None:
        found.append(_CHEMISTRY + lines_of(["[chemistry]", *_chemistry(series.chemistry)]))
    return found


def glass_examples(series: MeltSeries) -> list[str]:
    """Blocks that the series does not use, switched off; each would be valid when switched on."""
    shares = [
        factor
        for factor in series.factors
        if isinstance(factor, Amount) and dimension(factor.unit) == "share" and factor.low >= 0 and factor.high < 100
    ]
    found = []
    if shares and series.recipe is None:
        body = ["[recipe]", 'base = "obsidian"', 'charge = "900 g"', 'crucible = "1200 ml"']
        body += ["[[part]]", 'material = "soda ash"', f"share = {toml_text(shares[0].name)}"]
        found.append(switched_off(_RECIPE, body))
    if not series.materials:
        own = OwnMaterial("soda ash", price=18.5, pack=Quantity(5, "kg"), stock=Quantity(1.2, "kg"))
        found.append(switched_off(_MATERIALS, ["[[material]]", *_material(own)]))
    if not series.supplies:
        supply = Supply("crucible", Quantity(1, ""), lasts=2, price=18.0, stock=1)
        found.append(switched_off(_SUPPLIES, ["[[supply]]", *_supply(supply)]))
    if series.cooling is None:
        cooling = Cooling(Quantity(40, "mm"), furnace_rate=Quantity(60, "°C/h"))
        found.append(switched_off(_COOLING, ["[cooling]", *_cooling(cooling)]))
    chemistry = _chemistry_example(series, shares[0].name if shares else "")
    if chemistry is not None:
        found.append(switched_off(_CHEMISTRY, ["[chemistry]", *_chemistry(chemistry)]))
    return found


def _chemistry_example(series: MeltSeries, share: str) -> Chemistry | None:
    """One that holds with the recipe of the series, or with that of the example; None where there is none."""
    judged = [outcome.name for outcome in series.outcomes if outcome.counts]
    if series.chemistry is not None or not judged or not (series.recipe or share):
        return None
    chemistry = Chemistry(pour=next((name for name in judged if "pour" in name), judged[0]))
    recipe = series.recipe or Recipe("obsidian", parts=(Part(parse_expression(share), "soda ash"),))
    try:
        with_chemistry(replace(series, recipe=recipe, chemistry=chemistry))
    except ValueError:
        return None
    return chemistry


def _or_none(quantity: Quantity | None) -> str | None:
    return None if quantity is None else toml_quantity(quantity)


def _said(value: str | Quantity) -> str | None:
    return text_or_none(value) if isinstance(value, str) else toml_quantity(value)


def _recipe(recipe: Recipe) -> list[str]:
    return given(
        base=text_or_none(recipe.base),
        base_by=text_or_none(recipe.base_by),
        shares_of=toml_text(recipe.shares_of),
        charge=_or_none(recipe.charge),
        pour_loss=toml_number(recipe.pour_loss) if recipe.pour_loss else None,
        crucible=_or_none(recipe.crucible),
        balance=toml_quantity(recipe.balance),
        pours_at=_said(recipe.pours_at),
        held_for=_said(recipe.held_for),
        weighed=text_or_none(recipe.weighed),
    )


def _part(part: Part) -> list[str]:
    return given(
        material=text_or_none(part.material),
        material_by=text_or_none(part.material_by),
        share=toml_text(part.share.text),
    )


def _material(own: OwnMaterial) -> list[str]:
    analysis = ", ".join(f"{toml_key(oxide)} = {toml_number(share)}" for oxide, share in own.analysis.items())
    return given(
        name=toml_text(own.name),
        formula=text_or_none(own.formula),
        analysis=f"{{ {analysis} }}" if analysis else None,
        same_as=text_or_none(own.same_as),
        from_melt=None if own.from_melt is None else str(own.from_melt),
        water=None if own.water is None else toml_number(own.water),
        price=None if own.price is None else toml_number(own.price),
        pack=_or_none(own.pack),
        stock=_or_none(own.stock),
    )


def _supply(supply: Supply) -> list[str]:
    unit = supply.amount.unit

    def amount(value: float) -> str:
        return toml_quantity(Quantity(value, unit)) if unit else toml_number(value)

    return given(
        name=toml_text(supply.name),
        amount=amount(supply.amount.value),
        per=toml_text(supply.per),
        lasts=str(supply.lasts) if supply.lasts > 1 else None,
        lost_with=text_or_none(supply.lost_with),
        price=None if supply.price is None else toml_number(supply.price),
        pack=amount(supply.pack) if supply.pack else None,
        stock=amount(supply.stock) if supply.stock else None,
    )


def _chemistry(chemistry: Chemistry) -> list[str]:
    return given(
        pour=text_or_none(chemistry.pour),
        boil_over=text_or_none(chemistry.boil_over),
        crack=text_or_none(chemistry.crack),
        worth=toml_number(chemistry.worth),
        trust=toml_number(chemistry.trust),
        use="true" if chemistry.use else "false",
        stiffest=None if chemistry.stiffest is None else toml_number(chemistry.stiffest),
    )


def _cooling(cooling: Cooling) -> list[str]:
    return given(
        thickness=_said(cooling.thickness),
        shape=toml_text(cooling.shape),
        in_mould="true" if cooling.in_mould else None,
        furnace_rate=_or_none(cooling.furnace_rate),
        bed=None if cooling.bed is None else toml_text(cooling.bed),
        cover=toml_quantity(cooling.cover) if cooling.bed is not None else None,
    )
