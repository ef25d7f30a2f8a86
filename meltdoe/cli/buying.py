"""`buy` and `glass`: what the plan takes, and what glass every melt gives."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import HERE, AsJson, Folder

if TYPE_CHECKING:
    from meltdoe.charge.melt_glass import MeltGlass
    from meltdoe.charge.shopping import ShoppingItem
    from meltdoe.series.melt_series import MeltSeries


def buy(
    folder: Folder = HERE,
    spare: Annotated[
        int | None,
        typer.Option(
            "--spare", metavar="NUMBER", min=0, help="Repeats to have room for; by default as bad luck may cost."
        ),
    ] = None,
    json: AsJson = False,
) -> None:
    """List what to buy for the planned melts: materials, crucibles and sand, less what is at hand.

    Example: meltdoe buy obsidian-block --spare 2
    """
    from meltdoe.steps import shop

    made = shop(folder, spare_melts=spare)
    if json:
        print_json(
            {
                "items": [_item_document(item) for item in made.items],
                "melts": made.melts,
                "firings": made.firings,
                "spare_melts": made.spare_melts,
                "cost": made.cost,
                "currency": made.currency,
                "notes": made.notes,
            }
        )
        return
    say(f"For {made.melts} melt{'s' * (made.melts != 1)} in {made.firings} firing{'s' * (made.firings != 1)}.")
    headings = ["what", "for the plan", "to spare", "at hand", "to buy", "packs", f"cost {made.currency}".strip()]
    if made.items:
        say(*table(headings, [_row(item) for item in made.items], widest=100))
        priced = any(item.cost is not None for item in made.items)
        say(f"In all {made.cost:.2f} {made.currency}".rstrip() + "." if priced else "No prices are known.")
    say(*(f"{note[:1].upper()}{note[1:]}." for note in made.notes))


def _item_document(item: ShoppingItem) -> dict[str, Any]:
    from meltdoe.units import convert, dimension

    weighed = dimension(item.unit) == "mass"
    return {
        "material": item.name,
        "grams": convert(item.buy, item.unit, "g") if weighed else None,
        "cost": item.cost,
        "amount": item.buy,
        "unit": item.unit or "pieces",
        "packs": item.packs,
        "needed": item.needed,
        "spare": item.spare,
        "stock": item.stock,
        "remelted_from": item.remelted,
    }


def _row(item: ShoppingItem) -> list[str]:
    def amount(value: float) -> str:
        return (
            f"{value:.0f} {item.unit}".rstrip()
            if value >= 10 or value == 0 or not item.unit
            else f"{value:.2g} {item.unit}"
        )

    bought = "of melt " + str(item.remelted) if item.remelted is not None else amount(item.buy)
    cost = "" if item.remelted is not None else "?" if item.cost is None else f"{item.cost:.2f}"
    packs = "" if item.packs is None else str(item.packs)
    return [item.name, amount(item.needed), amount(item.spare), amount(item.stock), bought, packs, cost]


def glass(
    folder: Folder = HERE,
    melt: Annotated[int | None, typer.Option(metavar="NUMBER", min=1, help="Tell everything of one melt.")] = None,
    json: AsJson = False,
) -> None:
    """Say what glass every melt gives: how it pours, where it anneals, how it expands, what it is made of.

    Example: meltdoe glass obsidian-block --melt 6
    """
    from meltdoe.errors import ProblemsFound
    from meltdoe.steps import glass_of_folder

    series, found = glass_of_folder(folder)
    if melt is not None:
        found = tuple(one for one in found if one.melt == melt)
        if not found:
            mend = "the melts planned and made stand in: meltdoe glass"
            raise ProblemsFound.single("", None, f"there is no melt {melt}", mend)
    if json:
        print_json({"melts": [_glass_document(one) for one in found]})
    elif melt is not None:
        _say_one(series, found[0])
    else:
        _say_all(found)


def _glass_document(one: MeltGlass) -> dict[str, Any]:
    cooling = one.cooling
    return {
        "melt": one.melt,
        "on_record": one.on_record,
        "weight_percent": one.composition,
        "mole_percent": one.mole_percent,
        "flux": one.flux,
        "loss_percent": one.loss,
        "gas_litres_per_kg": one.gas,
        "pour": {"celsius": one.celsius, "log10_pa_s": one.log10, "sd": one.log10_sd, "verdict": one.verdict},
        "model": one.model,
        "pours_well_from": {"celsius": one.good_from, "sd": one.good_sd},
        "fixed_points": [{"name": p.name, "log10_pa_s": p.log10, "celsius": p.celsius, "sd": p.sd} for p in one.points],
        "expansion": {"per_kelvin_1e-7": one.alpha, "sd": one.alpha_sd},
        "density": one.density,
        "cooling": None
        if cooling is None
        else [
            {"what": s.what, "start": s.start, "end": s.end, "kelvin_per_hour": s.rate, "hours": s.hours}
            for s in cooling.schedule.steps
        ],
        "bed": None if cooling is None or cooling.bed is None else cooling.bed.sentence,
        "warnings": one.warnings,
    }


def _number(value: float | None, form: str = ".0f") -> str:
    return "?" if value is None or value != value else format(value, form)


def _say_all(found: tuple[MeltGlass, ...]) -> None:
    rows = []
    for one in found:
        annealing = next((point.celsius for point in one.points if point.id == "annealing"), None)
        rows.append(
            [
                one.melt,
                "log" if one.on_record else "plan",
                _number(one.flux, ".1f"),
                _number(one.gas),
                f"{_number(one.log10, '.1f')} ± {_number(one.log10_sd, '.2f')}",
                one.verdict or "?",
                f"{_number(one.good_from)} ± {_number(one.good_sd)}",
                _number(annealing),
                f"{_number(one.alpha)} ± {_number(one.alpha_sd)}",
            ]
        )
    headings = ["melt", "from", "flux", "gas l/kg", "log10 Pa s", "pour", "well from °C", "anneal °C", "1e-7 per K"]
    say(*table(headings, rows, widest=100))
    say("± is one standard deviation of the model. Annealing temperatures are good to about 30 °C.")
    say("What these figures mean: meltdoe explain glass")
    for warning in dict.fromkeys(text for one in found for text in one.warnings):
        melts = [one.melt for one in found if warning in one.warnings]
        which = "Every melt" if len(melts) == len(found) else f"Melt {', '.join(map(str, melts))}"
        say(f"{which}: {warning}.")


def _say_one(series: MeltSeries, one: MeltGlass) -> None:
    from meltdoe.glass.viscosity_models import WHY
    from meltdoe.sheets.bench_glass import casting_sentences, pour_sentences

    say(f"Melt {one.melt}, {'on record' if one.on_record else 'planned'}.")
    oxides = sorted(one.composition, key=lambda oxide: -one.composition[oxide])
    rows = [[oxide, f"{one.composition[oxide]:.2f}", f"{one.mole_percent[oxide]:.2f}"] for oxide in oxides]
    say(*table(["oxide", "wt%", "mol%"], rows))
    say(
        f"Flux in all {_number(one.flux, '.1f')}; {_number(one.loss, '.1f')} % leave as gas, "
        f"{_number(one.gas)} l per kg."
    )
    say(*pour_sentences(series, one), *casting_sentences(one))
    say(
        *table(
            ["point", "log10 Pa s", "°C", "±"],
            [[p.name, f"{p.log10:g}", f"{p.celsius:.0f}", f"{p.sd:.0f}"] for p in one.points],
        )
    )
    if one.model:
        say(*(f"Viscosity by {name}, {WHY[name]}." for name in one.model.split(" and ")))
    if one.cooling is not None:
        say(f"Cooling for {one.cooling.thickness_mm:g} mm, {one.cooling.schedule.hours:.0f} h in all:")
        rows = [
            [s.what, f"{s.start:.0f}", f"{s.end:.0f}", f"{s.rate:.1f}", f"{s.hours:.1f}"]
            for s in one.cooling.schedule.steps
        ]
        say(*table(["step", "from °C", "to °C", "K/h", "h"], rows))
    say(*(f"{warning[:1].upper()}{warning[1:]}." for warning in one.warnings))
