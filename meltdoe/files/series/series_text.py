"""Writing a commented series.toml that reads back to the same `MeltSeries`."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meltdoe.files.series.series_limits import ceiling_limits
from meltdoe.files.series.series_text_glass import glass_examples, glass_parts
from meltdoe.files.series.series_toml import SERIES
from meltdoe.files.series.toml_words import (
    blocks_of,
    given,
    lines_of,
    switched_off,
    text_or_none,
    toml_key,
    toml_number,
    toml_quantity,
    toml_setting,
    toml_text,
    toml_texts,
)  # fmt: skip
from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.factor import Amount, Factor
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import Comparison
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.units import Quantity

__all__ = ["series_text"]

_HEAD = """\
# The question of this series of test melts. Lines that begin with "# " are remarks;
# take the # away from a line such as "#seed = 1" to switch it on. Check the file with: meltdoe check
"""
_FACTORS = """\
# What is set. kind = "amount" is a number from low to high in steps (unit: wt%, °C, °F, min, h, mm, in, g ...);
# "choice" has options without an order, "ordered" has options from least to most.
# set_per says where it is really set anew: for each firing of the kiln, each melt, or each mould.
# scale = "log" suits times and other amounts where doubling matters more than adding.
# A factor that is added when melts are on record says what it was in them: earlier = 0, or earlier = "none".
# Options that can no longer be had stay in options, for the melts made with them, and are named in gone = ["loose"].
"""
_LIMITS = """\
# What must never be tried: a comparison of amounts, with + - * / ^ and brackets. The reason is printed where it bites.
"""
_OUTCOMES = """\
# What is seen, in the order of the work. kind = "pass" is yes or no, "grade" is one of a few words (best first),
# "measured" is a number, with bounds where it cannot lie outside them. An outcome that comes after another exists only
# where that one was good: a crack cannot be seen in a casting that never left the crucible.
# good: the good grades, or "at least 95", "at most 3", "between 10 and 20".
"""
_BUDGET = "# What the series may take; leave out what does not matter.\n"
_KILN = "# No temperature above max_temperature is ever proposed. Stay below what the kiln's maker allows.\n"
_MOULD = "# Into how many moulds each melt is poured, and what one of them takes: its volume, or the casting's mass.\n"
_COST = "# What one melt and one firing cost, and what a bad outcome costs on top.\n"
_BELIEFS = """\
# What is expected before melting: the chance that an outcome is good at a setting, and how many melts' worth of
# evidence that opinion is. Factors that are left out stand in the middle of their range.
"""
_CIRCUMSTANCES = "# What is written down but not set: the weather, which kiln, the crucible's age.\n"
_TERMS = """\
# Which effects to look for. Without any, the program chooses by itself. A term with an outcome stands for that one
# alone, and there "viscosity", "gas" or "expansion" of the recipe's glass may stand in place of factors.
"""


def series_text(series: MeltSeries, examples: bool = False) -> str:
    """The whole series as the text of a series.toml, with remarks.

    Parameters
    ----------
    examples : whether parts that the series does not use are shown as examples, switched off by a leading #.
    """
    said = [limit for limit in series.limits if isinstance(limit.comparison, Comparison)]
    own = said[: len(said) - len(ceiling_limits(series.factors, series.kiln.max_temperature))]
    parts = [
        _HEAD + lines_of(_top(series)),
        _BUDGET + lines_of(["[budget]", *_budget(series.budget)]) if series.budget != Budget() else "",
        _KILN + lines_of(["[kiln]", *_kiln(series.kiln)]),
        _MOULD + lines_of(["[mould]", *_mould(series)]) if _mould(series) else "",
        _FACTORS + blocks_of("factor", map(_factor, series.factors)),
        _LIMITS + blocks_of("limit", map(_limit, own)) if own else "",
        _OUTCOMES + blocks_of("outcome", map(_outcome, series.outcomes)),
        _COST + lines_of(["[cost]", *_cost(series.costs)]) if series.costs != Costs() else "",
        _BELIEFS + blocks_of("belief", map(_belief, series.beliefs)) if series.beliefs else "",
        _TERMS + blocks_of("term", _terms(series)) if series.terms or series.own_terms else "",
        _CIRCUMSTANCES + blocks_of("circumstance", map(_circumstance, series.circumstances))
        if series.circumstances
        else "",
        *glass_parts(series),
        *((*_examples(series, own), *glass_examples(series)) if examples else ()),
    ]
    return "\n".join(part for part in parts if part)


def _top(series: MeltSeries) -> list[str]:
    return [
        f"format = {SERIES.newest}",
        f"title = {toml_text(series.title)}",
        *given(goal=text_or_none(series.goal)),
        f"target_chance = {toml_number(series.target_chance)}  # chance of success wanted of the best setting",
        f"seed = {series.seed}  # the same seed draws up the same plan",
    ]


def _budget(budget: Budget) -> list[str]:
    return given(
        melts=None if budget.melts is None else str(budget.melts),
        firings=None if budget.firings is None else str(budget.firings),
        money=None if budget.money is None else toml_number(budget.money),
        currency=text_or_none(budget.currency),
    )


def _kiln(kiln: Kiln) -> list[str]:
    ceiling = kiln.max_temperature
    return given(
        melts_per_firing=str(kiln.melts_per_firing),
        max_temperature=None if ceiling is None else toml_quantity(ceiling),
    )


def _mould(series: MeltSeries) -> list[str]:
    volume, casting, measured = series.mould.volume, series.mould.casting, series.mould.at_thickness
    return given(
        moulds_per_melt=str(series.moulds_per_melt) if series.moulds_per_melt > 1 else None,
        volume=text_or_none(volume or "") if not isinstance(volume, Quantity) else toml_quantity(volume),
        casting=None if casting is None else toml_quantity(casting),
        at_thickness=None if measured is None else toml_quantity(measured),
    )


def _factor(factor: Factor) -> list[str]:
    head = given(name=toml_text(factor.name), label=text_or_none(factor.label), kind=toml_text(factor.kind))
    if isinstance(factor, Amount):
        body = given(
            unit=text_or_none(factor.unit),
            low=toml_number(factor.low),
            high=toml_number(factor.high),
            step=None if factor.step is None else toml_number(factor.step),
            scale=None if factor.scale == "linear" else toml_text(factor.scale),
            earlier=None if factor.earlier is None else toml_number(factor.earlier),
        )
    else:
        body = given(
            options=toml_texts(factor.options),
            earlier=None if factor.earlier is None else toml_text(factor.earlier),
            gone=toml_texts(factor.gone) if factor.gone else None,
        )
    return [*head, *body, f"set_per = {toml_text(factor.set_per)}"]


def _limit(limit: Limit) -> list[str]:
    return given(keep=toml_text(limit.keep), why=text_or_none(limit.why))


def _good_range(good: GoodRange) -> str:
    if math.isinf(good.high):
        return f"at least {toml_number(good.low)}"
    if math.isinf(good.low):
        return f"at most {toml_number(good.high)}"
    return f"between {toml_number(good.low)} and {toml_number(good.high)}"


def _outcome(outcome: Outcome) -> list[str]:
    good = None
    if isinstance(outcome.good, GoodRange):
        good = toml_text(_good_range(outcome.good))
    elif outcome.good is not None:
        good = toml_texts(outcome.good)
    bounds = None if outcome.bounds is None else "[" + ", ".join(map(toml_number, outcome.bounds)) + "]"
    return given(
        name=toml_text(outcome.name),
        question=text_or_none(outcome.question),
        kind=toml_text(outcome.kind),
        unit=text_or_none(outcome.unit),
        grades=toml_texts(outcome.grades) if outcome.grades else None,
        bounds=bounds,
        after=None if outcome.after is None else toml_text(outcome.after),
        good=good,
        seen_per=None if outcome.seen_per == "melt" else toml_text(outcome.seen_per),
    )


def _cost(costs: Costs) -> list[str]:
    lines = given(melt=toml_number(costs.melt), firing=toml_number(costs.firing))
    if costs.loss:
        lines += ["[cost.loss]", *(f"{toml_key(name)} = {toml_number(loss)}" for name, loss in costs.loss.items())]
    return lines


def _belief(belief: Belief) -> list[str]:
    at = ", ".join(f"{toml_key(name)} = {toml_setting(value)}" for name, value in belief.at.items())
    return given(
        at=f"{{ {at} }}" if at else "{}",
        outcome=toml_text(belief.outcome),
        chance=toml_number(belief.chance),
        worth=toml_number(belief.worth),
    )


def _circumstance(circumstance: Circumstance) -> list[str]:
    return given(
        name=toml_text(circumstance.name),
        label=text_or_none(circumstance.label),
        unit=text_or_none(circumstance.unit),
        options=toml_texts(circumstance.options) if circumstance.options else None,
    )


def _terms(series: MeltSeries) -> list[list[str]]:
    found = [[f"use = {toml_text(str(term))}"] for term in series.terms]
    for outcome, terms in series.own_terms.items():
        found += [[f"use = {toml_text(str(term))}", f"outcome = {toml_text(outcome)}"] for term in terms]
    return found


def _examples(series: MeltSeries, own: Sequence[Limit]) -> list[str]:
    """Blocks that the series does not use, switched off; each would be valid when switched on."""
    amounts = [factor for factor in series.factors if isinstance(factor, Amount)]
    counting = [outcome for outcome in series.outcomes if outcome.counts]
    taken = {name.casefold() for name in (*series.factor_names, *(outcome.name for outcome in series.outcomes))}
    found = []
    if series.budget == Budget():
        found.append(switched_off(_BUDGET, ["[budget]", *_budget(Budget(14, 6, 400.0, "EUR"))]))
    if amounts and not own:
        keep = f"{amounts[0].name} <= {toml_number(amounts[0].high)}"
        found.append(switched_off(_LIMITS, ["[[limit]]", f"keep = {toml_text(keep)}", 'why = "more would be unsafe"']))
    if counting and series.costs == Costs():
        loss = {counting[0].name: 45.0}
        found.append(switched_off(_COST, ["[cost]", *_cost(Costs(12.0, 9.5, loss))]))
    if amounts and counting and not series.beliefs:
        belief = Belief({amounts[0].name: amounts[0].low}, counting[0].name, 0.6)
        found.append(switched_off(_BELIEFS, ["[[belief]]", *_belief(belief)]))
    if len(amounts) > 1 and not series.terms and not series.own_terms:
        term = f"{amounts[0].name} * {amounts[1].name}"
        found.append(switched_off(_TERMS, ["[[term]]", f"use = {toml_text(term)}"]))
    if "humidity" not in taken and not series.circumstances:
        circumstance = Circumstance("humidity", "Humidity of the air", "%")
        found.append(switched_off(_CIRCUMSTANCES, ["[[circumstance]]", *_circumstance(circumstance)]))
    if not _mould(series):
        found.append(switched_off(_MOULD, ["[mould]", "moulds_per_melt = 2"]))
    return found
