"""The glass of a series: what every melt gives, what is to be bought, and faults that only the glass shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.steps.reading import plan_or_none, read_log, read_plan, read_series

if TYPE_CHECKING:
    from meltdoe.charge.earlier_melts import EarlierMelt
    from meltdoe.charge.melt_glass import MeltGlass
    from meltdoe.charge.shelf import Shelf
    from meltdoe.charge.shopping import ShoppingList
    from meltdoe.log.melt_log import Log
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.series.factor import Setting
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "glass_of_folder", "glass_problems", "pour_remarks", "refuse_early_glass", "refuse_weighed", "shelf_of", "shop",
]  # fmt: skip

_NO_RECIPE = "has no [recipe], so nobody can say what goes into the crucible"
_ADD = 'add one, such as [recipe] with base = "obsidian", charge = "900 g", and a [[part]] with material and share'


def shelf_of(series: MeltSeries, log: Log, plan: Plan | None) -> Shelf | None:
    """The materials of a series with the glass of every melt on record or planned; None without a recipe.

    Raises
    ------
    ProblemsFound
        Where remelted glass goes back to itself.
    """
    from meltdoe.charge.earlier_melts import earlier_melts

    if series.recipe is None:
        return None
    return _stocked(series, earlier_melts(series, log.entries, () if plan is None else plan.melts))


def _stocked(series: MeltSeries, melts: tuple[EarlierMelt, ...]) -> Shelf:
    from meltdoe.charge.shelf import shelf

    try:
        return shelf(series, melts)
    except ValueError as fault:
        raise ProblemsFound.single("series.toml", None, str(fault), "mend from_melt, or the melt in the log") from None


def shop(folder: Path, *, spare_melts: int | None = None) -> ShoppingList:
    """Everything to buy for the planned melts that are not on record yet.

    Parameters
    ----------
    spare_melts : repeats to have room for; by default as many as bad luck may cost.

    Raises
    ------
    ProblemsFound
        Without a plan, without anything that says what is used, or where the charge cannot be worked out.
    """
    from meltdoe.charge.shopping import shopping_list

    series = read_series(folder)
    if series.recipe is None and not series.supplies:
        raise ProblemsFound.single("series.toml", None, _NO_RECIPE, _ADD)
    plan, log = read_plan(series), read_log(series)
    to_come = [melt for melt in plan.melts if melt.melt not in log.melt_numbers]
    try:
        return shopping_list(
            series,
            series.raw_table(melt.settings for melt in to_come),
            [melt.firing for melt in to_come],
            shelf_of(series, log, plan),
            spare_melts,
        )
    except ValueError as fault:
        raise ProblemsFound.single("plan.csv", None, str(fault), "mend the recipe, or draw the plan up anew") from None


def refuse_weighed(series: MeltSeries, text: str) -> None:
    """What somebody says was weighed, looked at as it is typed; nothing where the series keeps no such column.

    Raises
    ------
    ValueError
        Where it holds no masses, or a material that nobody knows.
    """
    from meltdoe.charge.recipe_shares import melt_in_name, shelf_name, weighed_grams

    if series.recipe is None or not series.recipe.weighed or not text.strip():
        return
    stocked = _stocked(series, ())
    for name in weighed_grams(text):
        own = shelf_name(series, name)
        if melt_in_name(own) is None and own not in stocked.lots:
            stocked.material(own)


def glass_of_folder(folder: Path) -> tuple[MeltSeries, tuple[MeltGlass, ...]]:
    """The glass of every melt on record and of every planned one, in the order of their numbers.

    Raises
    ------
    ProblemsFound
        Without a recipe.
    """
    from meltdoe.charge.earlier_melts import earlier_melts
    from meltdoe.charge.melt_glass import melt_glass

    series = read_series(folder)
    if series.recipe is None:
        raise ProblemsFound.single("series.toml", None, _NO_RECIPE, _ADD)
    log, plan = read_log(series), plan_or_none(series)
    melts = earlier_melts(series, log.entries, () if plan is None else plan.melts)
    stocked = _stocked(series, melts)
    done = log.melt_numbers
    once = {melt.melt: melt for melt in reversed(melts)}
    return series, tuple(melt_glass(series, once[number], stocked, number in done) for number in sorted(once))


def pour_remarks(series: MeltSeries, proposed: Sequence[Mapping[str, Setting]]) -> tuple[str, ...]:
    """What the glass says against pouring each proposed melt, where the advice was not told; empty texts where nothing.

    Advice uses the chemistry of the recipe only where series.toml has a [chemistry] block, since its error is large.
    """
    from meltdoe.charge.earlier_melts import EarlierMelt
    from meltdoe.charge.melt_glass import melt_glass
    from meltdoe.sheets.bench_glass import pour_sentences

    if series.recipe is None or series.chemistry is not None:
        return tuple("" for _ in proposed)
    log, plan = read_log(series), plan_or_none(series)
    stocked = shelf_of(series, log, plan)
    assert stocked is not None
    glasses = [melt_glass(series, EarlierMelt(0, settings), stocked) for settings in proposed]
    return tuple(
        f"Its glass speaks against it. {pour_sentences(series, glass)[0]} With a [chemistry] block in series.toml the "
        "advice counts with that."
        if glass.verdict in ("poor", "hopeless")
        else ""
        for glass in glasses
    )


def glass_problems(series: MeltSeries, log: Log | None, plan: Plan | None) -> tuple[Problem, ...]:
    """Charges that cannot be worked out: amounts in the log that nobody can read, glass of a melt that never was."""
    from meltdoe.charge.earlier_melts import earlier_melts
    from meltdoe.charge.glass_at import glass_of_melts

    if series.recipe is None:
        return ()
    recorded = () if log is None else log.entries
    melts = earlier_melts(series, recorded, () if plan is None else plan.melts)
    try:
        stocked = _stocked(series, melts)
    except ProblemsFound as found:
        return found.problems
    problems = []
    for place, melt in enumerate(melts):
        if not melt.weighed and melt.settings.keys() < set(series.factor_names):
            continue  # nobody knows any more what went in
        try:
            glass_of_melts(series, [melt], stocked)
        except ValueError as fault:
            file = "log.csv" if place < len(recorded) else "plan.csv"
            mend = "correct what was weighed" if melt.weighed else "correct the setting, or the recipe in series.toml"
            problems.append(Problem(file, None, f"melt {melt.melt}: {fault}", mend))
    return tuple(dict.fromkeys(problems))


def refuse_early_glass(series: MeltSeries, log: Log, plan: Plan) -> None:
    """Refuse a plan with a melt that calls for the glass of another that is not made before it.

    Raises
    ------
    ProblemsFound
        At the first such melt, in the order of the work.
    """
    from meltdoe.charge.earlier_melts import EarlierMelt
    from meltdoe.charge.recipe_shares import shares_of_melts

    lots = {own.name: own.from_melt for own in series.materials if own.from_melt is not None}
    if series.recipe is None or not lots:
        return
    firing_of = {melt.melt: melt.firing for melt in plan.melts}
    for melt in sorted(plan.melts, key=lambda melt: melt.order):
        used = shares_of_melts(series, [EarlierMelt(melt.melt, melt.settings)])
        for name in (name for name, share in used.items() if name in lots and share[0] > 0.0):
            made_in = firing_of.get(lots[name], melt.firing)
            if lots[name] not in log.melt_numbers and made_in >= melt.firing:
                what = f'"{name}" would go into melt {melt.melt}, and melt {lots[name]} is not made before that'
                mend = f"leave it out until melt {lots[name]} is on record, then plan the melts that are left with it"
                raise ProblemsFound.single("series.toml", None, what, mend)
